/** Two steering processes over one store, killed at any moment and started again: no wave is lost, none is opened twice or too far. */
import { type ChildProcess, spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readdirSync, writeFileSync } from 'node:fs';
import { setTimeout as pause } from 'node:timers/promises';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { Depot } from '../../src/broadcast/index.ts';
import { type FleetStore, type FleetUnit, openFleet, type UnitReport } from '../../src/fleet/index.ts';
import { Bench, COMMAND, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
/** The lot draws none of them for some wave once in 10^11 runs. */
const UNITS = 240;
const SHARES = [100, 250, 400, 550, 700, 850, 1000];
/** Far more than it takes: a machine ten times slower keeps it. */
const LIMIT_MS = 3_600_000;
/** In one wave, beside the first: a process that takes long to begin comes to its work in the end. */
const MOST_FURTHER_KILLS = 2;
let store: FleetStore;
let digest: string;
const running = new Set<ChildProcess>();

const PLAN = `format: fieldseal.broadcast-plan/1
class: vent
success: 1000
within: 10 d
soak: 0 s
silence: 10 d
announced_for: 14 d
stop:
  refused: { share: 0, least: 1 }
  fell_back: { share: 0, least: 1 }
  silent: { share: 0, least: 1 }
waves:
${SHARES.map((share) => `  - name: w${share}\n    share: ${share}`).join('\n')}
`;

beforeAll(async () => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1 --class vent', WS);
  bench.ok('signer create ann-1 --purpose announcement --class vent', WS);
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(9000));
  digest = bench.ok('seal app.bin --class vent --version 1.0.0 --out app.suit --json', WS).json
    .manifest_digest;
  writeFileSync(bench.path('WS', 'waves.yaml'), PLAN);
  const classId = bench.ok('class show vent --json', WS).json.class_id.replaceAll('-', '');
  store = await openFleet(bench.path('WS', 'private', 'fleet.sqlite'));
  const device = (nth: number) => createHash('sha256').update(String(nth)).digest('hex').slice(0, 32);
  await store.importUnits(
    Array.from({ length: UNITS }, (_, nth) => ({ classId, device: device(nth), serial: `S${nth}` })),
  );
}, LIMIT_MS);
afterAll(async () => {
  for (const child of running) child.kill('SIGKILL');
  await store?.close();
});

/** A steering process; it is started again wherever it ends, until `over`. */
function steerUntil(over: AbortSignal): void {
  if (over.aborted) return;
  const words = 'broadcast steer vent --depot depot --every 0 --lease 3'.split(' ');
  const child = spawn(process.execPath, [COMMAND, ...words], {
    cwd: bench.path('WS'),
    env: bench.environment,
    stdio: 'ignore',
  });
  running.add(child);
  child.on('exit', () => {
    running.delete(child);
    steerUntil(over);
  });
}

function killOne(): void {
  const all = [...running];
  all[Math.floor(Math.random() * all.length)]?.kill('SIGKILL');
}

/** Units that heard of it say how it ended; those of a wave that is open and not announced yet did not. */
async function answer(outcome: 'success' | 'failed'): Promise<void> {
  const said = announced();
  if (!said?.offer || said.reach.kind !== 'share' || said.reach.permille !== (await opened(1)).at(-1)?.share)
    return;
  const reached: FleetUnit[] = [...(await store.search({ state: 'reached', limit: 1000 })).items];
  await store.takeReports(
    reached.map(
      ({ classId, device }): UnitReport => ({
        ...{ classId, device, at: new Date(), age: 7, manifestDigest: digest, outcome },
        id: createHash('sha256').update(`${device} ${outcome}`).digest('hex'),
        ...(outcome === 'failed' && { refusal: { step: 'start', code: 'image-differs' } }),
        raw: new Uint8Array([1]),
      }),
    ),
  );
}

function announced() {
  const depot = new Depot(bench.path('WS', 'depot'));
  if (!existsSync(bench.path('WS', 'depot', 'a'))) return undefined;
  const [name] = readdirSync(bench.path('WS', 'depot', 'a')).filter((each) => !each.startsWith('.'));
  return name === undefined ? undefined : depot.announced(name)?.announcement;
}

interface Said {
  readonly time: string;
  readonly counter: number;
  readonly permille: number | null;
  readonly offers: boolean;
}

function announcements(): Said[] {
  const { entries } = bench.ok('ledger list --json', WS).json;
  return entries
    .filter(({ kind }: { kind: string }) => kind === 'announced')
    .map(({ time, facts }: { time: string; facts: Record<string, unknown> }) => ({
      time,
      counter: Number(facts.sequence_number),
      permille: facts.permille,
      offers: facts.offer !== null,
    }));
}

/** What was opened when, by the journal. */
async function opened(broadcast: number) {
  const events = await store.events({ broadcast, limit: 1000 });
  return events
    .filter(({ kind }) => kind === 'wave-open')
    .map(({ wave, at }) => ({ share: SHARES[wave! - 1]!, at }));
}

it(
  'every wave is opened once, in order, and announced to no more units than were opened; then a stop is announced and stays',
  async () => {
    bench.ok('broadcast begin vent app.suit --plan waves.yaml --depot depot', WS);
    const over = new AbortController();
    steerUntil(over.signal);
    steerUntil(over.signal);
    const started = Date.now();
    let kills = 0;
    let killedIn: number | undefined;
    let further = 0;
    const state = async () => (await store.broadcast(1))!.state;
    while ((await state()) === 'running') {
      await pause(100 + Math.random() * 900);
      const open = (await opened(1)).length;
      // Once in each wave, before any unit answers, and now and then while units do.
      const isFirst = killedIn !== open;
      if (isFirst) [killedIn, further] = [open, MOST_FURTHER_KILLS];
      if (isFirst || (further > 0 && Math.random() < 0.3)) {
        killOne();
        kills += 1;
        if (!isFirst) further -= 1;
      }
      // The last wave goes wrong.
      else await answer(open === SHARES.length ? 'failed' : 'success');
      expect(Date.now() - started).toBeLessThan(LIMIT_MS);
    }
    // The stop is announced by whoever steers then; killed a few times more, it stays.
    for (let round = 0; round < 3; round++) {
      await pause(1500);
      killOne();
    }
    for (;;) {
      await pause(500);
      if (announcements().at(-1)?.offers === false) break;
      expect(Date.now() - started).toBeLessThan(LIMIT_MS);
    }
    over.abort();
    for (const child of running) child.kill('SIGKILL');
    await pause(4000);
    bench.ok('broadcast steer vent --depot depot --once', { ...WS, status: 1 });

    expect(kills).toBeGreaterThanOrEqual(SHARES.length);
    const opens = await opened(1);
    expect(opens.map(({ share }) => share)).toEqual(SHARES);
    expect(await state()).toBe('paused');
    const said = announcements();
    expect(said.map(({ counter }) => counter)).toEqual(
      [...new Set(said.map(({ counter }) => counter))].sort((a, b) => a - b),
    );
    for (const { time, permille, offers } of said.filter((each) => each.offers)) {
      expect(offers).toBe(true);
      const allowed = opens.filter(({ at }) => at <= new Date(time)).map(({ share }) => share);
      expect(permille).toBeLessThanOrEqual(Math.max(0, ...allowed));
    }
    expect([...new Set(said.filter(({ offers }) => offers).map(({ permille }) => permille))]).toEqual(SHARES);
    bench.ok('ledger check', WS);
    const steps = bench
      .ok('ledger list --json', WS)
      .json.entries.filter(({ facts }: { facts: { step?: string } }) => facts.step === 'wave-open');
    expect(steps).toHaveLength(SHARES.length);
  },
  LIMIT_MS,
);
