/** Reports come in over HTTP: judged under the unit's own key, entered before they are acknowledged, each once. */
import { type ChildProcess, spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { type FleetStore, openFleet } from '../../src/fleet/index.ts';
import { Bench, COMMAND, cortexImage } from './command.ts';
import { documentOf } from './served.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const running: ChildProcess[] = [];
/** Blocks of 512 bytes to which files may grow where there is little room: hardly more than the store's shared memory has. */
const LITTLE_ROOM = 72;
/**
 * A connection for each report: commands run between two of them, and while this process waits for those it does not notice that the
 * server, after five idle seconds, has closed.
 */
const ONE_EACH = { connection: 'close' };
let intake: string;
/** Reports of unit 0001 in the order of its life: install, start, keep of one release, then of the next. */
let life: Buffer[];

beforeAll(async () => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1 --class vent', WS);
  bench.ok('class-key create dosing', WS);
  for (const serial of ['0001', '0002', '0003'])
    bench.ok(`provision vent --serial ${serial} --out ${serial}.unit`, WS);
  bench.ok('provision dosing --serial 0007 --out dosing.unit', WS);
  for (const [i, version] of ['1.4.0', '1.5.0'].entries()) {
    writeFileSync(bench.path('WS', `${i}.bin`), cortexImage(20_000, 0x5a + i));
    bench.ok(`seal ${i}.bin --class vent --version ${version} --out ${i}.suit`, WS);
  }
  bench.ok('seal 0.bin --class dosing --version 2.0.0 --out dosing.suit', WS);
  life = [...lived('0001', '0.suit'), ...lived('0001', '1.suit')];
  bench.ok('signer create ann-1 --purpose announcement --class vent', WS);
  bench.ok('announce vent --depot depot', WS);
  intake = await serve();
});
afterAll(() => {
  for (const child of running) child.kill('SIGKILL');
});

/** Installs, starts and keeps, and gives the reports. */
function lived(name: string, envelope: string, { cwd = 'WS', more = '' } = {}): Buffer[] {
  return [`install ${envelope} --unit ${name}.unit`, `boot ${name}.unit`, `keep ${name}.unit`].map((line) => {
    rmSync(bench.path(cwd, 'now.report'), { force: true });
    bench.ok(`${line} --report now.report ${more}`, { cwd });
    return readFileSync(bench.path(cwd, 'now.report'));
  });
}

/** Starts the server; `blocks`: how long a file may grow for it, in units of 512 bytes. */
async function serve(blocks?: number): Promise<string> {
  const words = [process.execPath, COMMAND, 'depot', 'serve', 'depot', '--fleet', '--json'];
  const [command, ...args] =
    blocks === undefined ? words : ['sh', '-c', `ulimit -f ${blocks}; exec "$@"`, 'sh', ...words];
  const child = spawn(command!, args, {
    cwd: bench.path('WS'),
    env: bench.environment,
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  running.push(child);
  return `${(await documentOf<{ origin: string }>(child)).origin}/reports`;
}

async function stop(signal: NodeJS.Signals): Promise<void> {
  const child = running.pop()!;
  const ended = new Promise((resolve) => child.once('exit', resolve));
  child.kill(signal);
  await ended;
}

async function post(report: Uint8Array, to = intake) {
  const answer = await fetch(to, { method: 'POST', body: report, headers: ONE_EACH });
  const text = await answer.text();
  return { status: answer.status, told: text === '' ? undefined : JSON.parse(text), headers: answer.headers };
}

/** What the store says of a unit, read beside the running server. */
async function inStore<T>(use: (store: FleetStore) => Promise<T>): Promise<T> {
  const store = await openFleet(bench.path('WS', 'private', 'fleet.sqlite'));
  try {
    return await use(store);
  } finally {
    await store.close();
  }
}

const unitOf = (serial: string) =>
  inStore(
    async (store) => (await store.search({ text: serial })).items.find((unit) => unit.serial === serial)!,
  );
const stateOf = async (serial: string) => (await unitOf(serial)).state;

describe('a report of a unit', () => {
  it('counts once, and is entered before it is acknowledged', async () => {
    expect(await stateOf('0002')).toBe('unheard');
    const [report] = lived('0002', '0.suit');
    expect(await post(report!)).toMatchObject({ status: 200, told: { outcome: 'new' } });
    await stop('SIGKILL');
    expect(await stateOf('0002')).toBe('on-trial');
    intake = await serve();
    expect(await post(report!)).toMatchObject({ status: 200, told: { outcome: 'known' } });
    expect(await inStore(async (store) => (await store.history(await unitOf('0002'))).items.length)).toBe(1);
  });

  it('may come late, twice, and in any order: the newest that the unit made decides', async () => {
    for (const report of [...life].reverse()) await post(report);
    for (const report of life) expect((await post(report)).told.outcome).toBe('known');
    expect(await unitOf('0001')).toMatchObject({ state: 'kept', version: '1.5.0' });
  });

  it('of a unit that was provisioned while the server runs is taken once the server has looked again', async () => {
    bench.ok('provision vent --serial 0004 --out 0004.unit', WS);
    const [report] = lived('0004', '0.suit');
    await expect
      .poll(async () => (await post(report!)).status, { timeout: 300_000, interval: 1000 })
      .toBe(200);
    expect(await stateOf('0004')).toBe('on-trial');
  });

  it('of a symmetric class is judged under the key derived for the unit', async () => {
    const reports = lived('dosing', 'dosing.suit', { more: '--mac' });
    for (const report of reports) expect((await post(report)).told.outcome).toBe('new');
    const forged = Buffer.from(reports[0]!);
    forged[forged.length - 1]! ^= 1;
    expect(await post(forged)).toMatchObject({ status: 422, told: { code: 'mac-wrong' } });
  });
});

describe('what is no report of a unit of ours', () => {
  it('is refused by name, counted, and changes no state', async () => {
    const before = await inStore((store) => store.counts());
    const forged = Buffer.from(life[0]!);
    forged[forged.length - 1]! ^= 1;
    expect(await post(forged)).toMatchObject({
      status: 422,
      told: { outcome: 'forged', code: 'signature-wrong' },
    });
    const envelope = readFileSync(bench.path('WS', '0.suit'));
    expect(await post(envelope)).toMatchObject({ status: 422, told: { outcome: 'malformed' } });
    expect(await post(randomBytes(500))).toMatchObject({ status: 422, told: { outcome: 'malformed' } });
    expect((await post(randomBytes(70_000))).status).toBe(413);
    expect((await fetch(intake)).status).toBe(405);
    expect(await inStore((store) => store.counts())).toEqual(before);
  });

  it('of a unit of another workspace is foreign', async () => {
    bench.ok('init OTHER --vendor-domain tallow.example');
    const OTHER = { cwd: 'OTHER' };
    bench.ok('class add vent --model VC-2 --scheme asymmetric', OTHER);
    bench.ok('root create', OTHER);
    bench.ok('signer create line-1 --class vent', OTHER);
    bench.ok('provision vent --serial 0001 --out 0001.unit', OTHER);
    writeFileSync(bench.path('OTHER', '0.bin'), cortexImage(20_000));
    bench.ok('seal 0.bin --class vent --version 1.4.0 --out 0.suit', OTHER);
    for (const report of lived('0001', '0.suit', { cwd: 'OTHER' }))
      expect(await post(report)).toMatchObject({ status: 403, told: { outcome: 'foreign' } });
  });

  it('costs whoever sends it patience, and nobody else', async () => {
    // A hundred are judged at once, and twenty a second after that: as many as it takes, on a slow machine too.
    const flood = () => Promise.all(Array.from({ length: 150 }, (_, i) => post(randomBytes(100 + i))));
    await expect
      .poll(async () => (await flood()).map(({ status }) => status), { timeout: 240_000 })
      .toContain(429);
    await stop('SIGTERM');
    intake = await serve();
  });
});

describe('a disk that is full', () => {
  it('answers 507, loses nothing that was acknowledged, and takes the rest once there is room', async () => {
    const acknowledged = lived('0003', '0.suit');
    for (const report of acknowledged) expect((await post(report)).status).toBe(200);
    await stop('SIGTERM');
    intake = await serve(LITTLE_ROOM);
    const later = lived('0003', '1.suit');
    const answers = [];
    for (const report of later) answers.push(await post(report));
    const full = answers.filter(({ status }) => status === 507);
    expect(full.length).toBeGreaterThan(0);
    expect(full[0]!.headers.get('retry-after')).toBe('60');
    await stop('SIGKILL');
    intake = await serve();
    for (const report of acknowledged) expect((await post(report)).told.outcome).toBe('known');
    for (const [i, report] of later.entries())
      expect((await post(report)).told.outcome).toBe(answers[i]!.status === 200 ? 'known' : 'new');
    expect(await unitOf('0003')).toMatchObject({ state: 'kept', version: '1.5.0' });
  });
});

describe('reports that somebody brought back', () => {
  it('are taken by the same judgement, once', () => {
    bench.ok('provision vent --serial 0009 --out 0009.unit', WS);
    bench.ok('announce vent 0.suit --depot depot', WS);
    bench.ok('agent 0009.unit --depot http://127.0.0.1:1 --health true --once --reports van', {
      ...WS,
      status: 3,
    });
    writeFileSync(
      bench.path('WS', 'van', 'forged.report'),
      life[0]!.map((byte, i) => (i === 200 ? byte ^ 1 : byte)),
    );
    const found = readdirSync(join(bench.path('WS'), 'van')).length;
    const first = bench.ok('report import van --json', { ...WS, status: 1 }).json;
    expect(first).toMatchObject({ taken: found - 1, known: 0, untaken: [{ file: 'forged.report' }] });
    expect(bench.ok('report import van --json', { ...WS, status: 1 }).json).toMatchObject({
      taken: 0,
      known: found - 1,
    });
    bench.ok('report import absent', { ...WS, status: 3 });
  });
});
