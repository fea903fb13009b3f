/**
 * Measures the fleet store as a process of its own: `PLACE UNITS` makes a fleet there and times what its screens ask. Prints one JSON document.
 */
import { createHash } from 'node:crypto';
import { type FleetStore, openFleet, type UnitReport, type UnitRow } from '../../src/fleet/index.ts';

const CLASS = 'c0'.repeat(16);
const RELEASE = { manifestDigest: 'aa'.repeat(32), sequence: 13n, version: '1.5.0' };
const REPORTING = 100_000;
const TOGETHER = 256;
const TIMES = 200;
const CODES = [
  'image-too-large',
  'sequence-number-too-low',
  'class-wrong',
  'precursor-wrong',
  'flash-failed',
];

const [place, count] = [process.argv[2]!, Number(process.argv[3])];
const deviceAt = (n: number) => createHash('sha256').update(`unit ${n}`).digest('hex').slice(0, 32);
const store = await openFleet(place);
const imported = await timed(() => store.importUnits(rows()));
const broadcast = await begun(store);
const placed = await timed(() => store.placeUnits(broadcast, (device) => waveOf(device)));
await open(store, broadcast);
const reports = Math.min(REPORTING, count / 2);
const taken = await timed(() => report(store, reports));
const queries = await ask(store, broadcast);
await store.close();
console.log(
  JSON.stringify({
    import_per_second: count / imported,
    place_per_second: count / placed,
    reports_per_second: reports / taken,
    peak_megabytes: (process.resourceUsage().maxRSS * 1024) / 1e6,
    p95_ms: queries,
  }),
);

function* rows(): Generator<UnitRow> {
  for (let n = 0; n < count; n++) {
    yield {
      classId: CLASS,
      device: deviceAt(n),
      serial: String(n).padStart(7, '0'),
      group: `house-${n % 4000}`,
      hardware: n % 3 === 0 ? 'A' : 'B',
      version: `1.${n % 5}.0`,
      sequence: BigInt(n % 5) + 8n,
    };
  }
}

function waveOf(device: string): number {
  const drawn = Number.parseInt(device.slice(0, 8), 16) % 1000;
  if (drawn < 20) return 1;
  return drawn < 600 ? 2 : 3;
}

async function begun(fleet: FleetStore): Promise<number> {
  const waves = [20, 600, 1000].map((permille, i) => ({
    number: i + 1,
    name: `wave ${i + 1}`,
    reach: { kind: 'share', permille } as const,
  }));
  const { id } = await fleet.createBroadcast({
    classId: CLASS,
    release: RELEASE,
    plan: {},
    waves,
    who: 'bench',
  });
  return id;
}

async function open(fleet: FleetStore, id: number): Promise<void> {
  await fleet.setBroadcastState({ id, expectedRevision: 1, state: 'running', who: 'bench' });
  for (const number of [1, 2])
    await fleet.setWaveState({
      broadcast: id,
      number,
      expectedRevision: 1 + number,
      state: 'open',
      who: 'bench',
    });
}

/** Units here and there say how it went: nine of ten kept it. */
async function report(fleet: FleetStore, wanted: number): Promise<void> {
  for (let done = 0; done < wanted; done += TOGETHER) {
    const together: UnitReport[] = [];
    for (let n = done; n < Math.min(done + TOGETHER, wanted); n++) {
      const refused = n % 10 === 0;
      const device = deviceAt((n * 7919) % count);
      together.push({
        classId: CLASS,
        device,
        id: createHash('sha256').update(`report ${n}`).digest('hex'),
        at: new Date(),
        age: 5,
        ...RELEASE,
        outcome: refused ? 'failed' : 'success',
        refusal: refused ? { step: 'fit', code: CODES[n % CODES.length]! } : undefined,
        raw: new Uint8Array(300),
      });
    }
    await fleet.takeReports(together);
  }
}

/** What screens ask, in turn; milliseconds that 95 of 100 did not exceed. */
async function ask(fleet: FleetStore, id: number): Promise<Record<string, number>> {
  const any = (n: number) => deviceAt((n * 104_729) % count);
  let next: string | undefined;
  const asked: Record<string, (n: number) => Promise<unknown>> = {
    'search by state': (n) =>
      fleet.search({ state: (['kept', 'refused', 'reached', 'waiting'] as const)[n % 4]! }),
    'search by version and state': (n) => fleet.search({ version: `1.${n % 6}.0`, state: 'reached' }),
    'search by refusal': (n) => fleet.search({ refusal: CODES[n % CODES.length]! }),
    'search by text': (n) =>
      fleet.search({
        text: String((n * 37) % count)
          .padStart(7, '0')
          .slice(0, 4),
      }),
    'search by text and state': (n) => fleet.search({ text: `house-${n}`, state: 'refused' }),
    'search what nobody is': (n) => fleet.search({ text: `0${n % 10}`, version: '9.9.9' }),
    'search who is silent': (n) =>
      fleet.search({ wave: { broadcast: id, number: 2 }, silentSince: new Date(n) }),
    'search, page by page': async () => {
      next = (await fleet.search({ limit: 1000, ...(next !== undefined && { after: next }) })).next;
    },
    unit: (n) => fleet.unit({ classId: CLASS, device: any(n) }),
    history: (n) => fleet.history({ classId: CLASS, device: any(n) }),
    counts: () => fleet.counts(),
    waves: () => fleet.waveCounts(id),
    'silent in a wave': () => fleet.silent(id, 2, new Date(Date.now() + 1000)),
    events: () => fleet.events({ broadcast: id, newestFirst: true }),
  };
  const times = new Map(Object.keys(asked).map((name) => [name, [] as number[]]));
  for (let n = 0; n < TIMES; n++)
    for (const [name, query] of Object.entries(asked))
      times.get(name)!.push((await timed(() => query(n))) * 1000);
  return Object.fromEntries(
    [...times].map(([name, all]) => [name, all.sort((a, b) => a - b)[Math.ceil(TIMES * 0.95) - 1]!]),
  );
}

/** Seconds that something took. */
async function timed(action: () => Promise<unknown>): Promise<number> {
  const begin = performance.now();
  await action();
  return (performance.now() - begin) / 1000;
}
