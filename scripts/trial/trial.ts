import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { type FleetCounts, openFleet } from '../../src/fleet/index.ts';
import { Random } from '../fuzz/random.ts';
import { Stranger, TrialBroker } from './broker.ts';
import { disturb } from './disturbances.ts';
import { type Field, makeField } from './field.ts';
import { type Figures, figuresOf } from './figures.ts';
import { Forger } from './forger.ts';
import { HttpProxy } from './http-proxy.ts';
import { readBooks, readUnits } from './reader.ts';
import { TrialServer } from './server.ts';
import { brokenPromises } from './verdict.ts';
import { Workers } from './workers.ts';

/** How a trial is run. */
export interface TrialOptions {
  readonly units: number;
  /** The same seed disturbs in the same way, as far as processes and clocks allow. */
  readonly seed: number;
  /** Agent processes. */
  readonly workers: number;
  /** An empty folder, for about 150 KB a unit. */
  readonly folder: string;
  tell(text: string): void;
}

/** What a trial came to. */
export interface TrialResult {
  /** Every promise that was broken, in words. */
  readonly broken: readonly string[];
  readonly figures: Figures;
}

/** Every fiftieth unit fails its self-test under the new release, and is to fall back. */
const FAILS = /[27]3$/;
const SELF_TEST = 'case "$FIELDSEAL_UNIT" in *[27]3.unit) exit 1;; esac';
/** Reports of one unit: two starts, an install, a keep. */
const REPORTS_EACH = 4;
/** The trial is stuck where nothing comes further for so long. */
const STUCK_MS = 300_000;
const LOOK_MS = 500;
const STRANGER_EVERY_MS = 1000;

/** Runs a trial: a release goes to the whole field while everything that can go wrong does. */
export async function runTrial(options: TrialOptions): Promise<TrialResult> {
  const { units, seed, workers: count, folder, tell } = options;
  const random = (name: string) => new Random('trial', name, seed);
  tell(`${units} units are provisioned`);
  const field = makeField(folder, units, count);
  const { desk, releases } = field;
  const place = join(desk.folder, 'private', 'fleet.sqlite');
  const proxy = new HttpProxy(random('proxy'));
  const broker = new TrialBroker(join(folder, 'broker'), random('broker'));
  const server = new TrialServer(desk);
  desk.json('announce', 'vent', '--depot', 'depot');
  await server.start();
  await broker.open();
  const depot = await proxy.open(server.port);
  const every = Math.max(5, Math.ceil(units / 100));
  const workers = new Workers(desk, field.folders, { depot, broker: broker.line, health: SELF_TEST, every });
  const forger = new Forger(random('forger'), proxy.captured, field.foreign);
  const announcements = announced(desk.folder);
  const stranger = new Stranger(broker, announcements.classId, random('stranger'));
  const began = performance.now();
  try {
    workers.start();
    const forging = forger.run(`http://127.0.0.1:${server.port}/reports`);
    const ill = disturbBroker(stranger, announcements.all, () => proxy.quiet);
    const progress = () => proxy.acknowledged.size / (units * REPORTS_EACH);
    const disturbing = disturb({ proxy, broker, server, workers, random: random('scene'), tell }, progress);
    for (const share of [100, 1000]) {
      const mqtt = ['--mqtt', broker.direct];
      announceTo(field, releases[1]!.envelope, share, share === 100 ? mqtt : []);
      announcements.note();
      tell(`${releases[1]!.version} is announced to ${share} of a thousand`);
      if (share === 100) await pause(3000);
    }
    await disturbing;
    proxy.quiet = broker.quiet = true;
    tell('the disturbances are over');
    await settled(place, field, releases[1]!.version, proxy, tell);
    const seconds = (performance.now() - began) / 1000;
    forger.end();
    await Promise.all([forging, ill]);
    const memory = await workers.end();
    await server.end('SIGTERM');
    tell(`the server counted: ${server.counted}`);
    const evidence = {
      field,
      units: readUnits(field),
      books: await readBooks(place),
      acknowledged: proxy.acknowledged,
      forged: forger.forged,
      expected: (serial: string) => [releases[FAILS.test(serial) ? 0 : 1]!.version],
    };
    return {
      broken: brokenPromises(evidence),
      figures: figuresOf({ units, seconds, memory, proxy, broker, server, workers, forger, stranger }),
    };
  } finally {
    forger.end();
    proxy.quiet = true;
    await workers.drop();
    await server.end('SIGKILL');
    await broker.close();
    proxy.close();
  }
}

/** Announcements of the trial, oldest first. */
function announced(workspace: string) {
  const folder = join(workspace, 'depot', 'a');
  const [classId] = readdirSync(folder) as [string];
  const all: Buffer[] = [];
  const note = () => void all.push(readFileSync(join(folder, classId)));
  note();
  return { classId, all, note };
}

function announceTo({ desk }: Field, envelope: string, share: number, more: readonly string[]): void {
  desk.json(
    'announce',
    'vent',
    envelope,
    '--depot',
    'depot',
    '--share',
    String(share),
    '--wave',
    `share-${share}`,
    ...more,
  );
}

async function disturbBroker(
  stranger: Stranger,
  genuine: readonly Buffer[],
  over: () => boolean,
): Promise<void> {
  while (!over()) {
    await stranger.disturb(genuine);
    await pause(STRANGER_EVERY_MS);
  }
}

/** Waits until the books say that every unit runs the release, or fell back. */
async function settled(
  place: string,
  { serials }: Field,
  version: string,
  proxy: HttpProxy,
  tell: (text: string) => void,
): Promise<void> {
  const store = await openFleet(place);
  try {
    let [last, since] = [-1, performance.now()];
    for (;;) {
      const done = doneOf(await store.counts(), version);
      if (done === serials.length) return;
      const progress = done + proxy.acknowledged.size;
      if (progress > last) [last, since] = [progress, performance.now()];
      if (performance.now() - since > STUCK_MS) {
        tell(`stuck: ${done} of ${serials.length} are done`);
        return;
      }
      await pause(LOOK_MS);
    }
  } finally {
    await store.close();
  }
}

function doneOf({ byVersion, byState }: FleetCounts, version: string): number {
  const runs = byVersion.find((each) => each.version === version)?.units ?? 0;
  return runs + byState['fell-back'];
}
