import { readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { type Broadcast, type FleetStore, openFleet } from '../../src/fleet/index.ts';
import { Random } from '../fuzz/random.ts';
import { Stranger, TrialBroker } from './broker.ts';
import { disturb, type Scene } from './disturbances.ts';
import { type Field, makeField } from './field.ts';
import { type Figures, figuresOf } from './figures.ts';
import { Forger } from './forger.ts';
import { HttpProxy } from './http-proxy.ts';
import { readBooks, readUnits } from './reader.ts';
import { TrialServer } from './server.ts';
import { Steering } from './steering.ts';
import { brokenPromises, type Evidence } from './verdict.ts';
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
  /** What was found at the end, before it was judged. */
  readonly evidence: Evidence;
}

/** Two of a hundred units fail their self-test under any new release; on a bad day all do. */
const FAILS = /[27]3$/;
const BAD_DAY = 'bad-day';
const SELF_TEST = `case "$FIELDSEAL_UNIT" in *[27]3.unit) exit 1;; esac; test ! -e ${BAD_DAY}`;
/** Reports of one unit that takes a release: two starts, an install, a keep. */
const REPORTS_EACH = 4;
/** The trial is stuck where nothing comes further for so long. */
const STUCK_MS = 900_000;
const LOOK_MS = 500;
const NEARLY_ALL = 0.98;
const STRANGER_EVERY_MS = 1000;

/**
 * Runs a trial: one release goes to the whole field while everything that can go wrong does, and then a bad one, which must stop in
 * its pilot.
 */
export async function runTrial(options: TrialOptions): Promise<TrialResult> {
  const { units, seed, folder, tell } = options;
  tell(`${units} units are provisioned`);
  const field = await makeField(folder, units, options.workers);
  field.desk.json('announce', 'vent', '--depot', 'depot');
  const stage = await openStage(field, options);
  const began = performance.now();
  try {
    await goodRelease(stage, field, options);
    await badRelease(stage, field, options);
    const seconds = (performance.now() - began) / 1000;
    stage.forger.end();
    const ended = [...stage.workers.endedAlone, ...stage.server.endedAlone];
    const memory = await stage.workers.end();
    await stage.steering.end('SIGTERM');
    await stage.server.end('SIGTERM');
    tell(`the server counted: ${stage.server.counted}`);
    const evidence: Evidence = {
      field,
      units: readUnits(field),
      books: await readBooks(stage.place),
      acknowledged: stage.proxy.acknowledged,
      forged: stage.forger.forged,
      expected: (serial) => field.releases[FAILS.test(serial) ? 0 : 1]!,
    };
    const broken = [...ended, ...brokenPromises(evidence)];
    return { broken, evidence, figures: figuresOf({ ...stage, units, seconds, memory }) };
  } finally {
    stage.forger.end();
    stage.proxy.quiet = stage.broker.quiet = true;
    for (const each of [stage.workers, stage.steering, stage.server])
      await each.end('SIGKILL').catch(() => {});
    await stage.broker.close();
    stage.proxy.close();
    tell(`the same again: --units ${units} --workers ${options.workers} --seed ${seed}`);
  }
}

interface Stage extends Scene {
  readonly place: string;
  readonly forger: Forger;
  readonly stranger: Stranger;
}

async function openStage(field: Field, { units, seed, folder, tell }: TrialOptions): Promise<Stage> {
  const random = (name: string) => new Random('trial', name, seed);
  const { desk } = field;
  const proxy = new HttpProxy(random('proxy'));
  const broker = new TrialBroker(join(folder, 'broker'), random('broker'));
  const server = new TrialServer(desk);
  await server.start();
  await broker.open();
  const depot = await proxy.open(server.port);
  const agents = { depot, broker: broker.line, health: SELF_TEST, every: roundOf(units) };
  const [classId] = readdirSync(join(desk.folder, 'depot', 'a')) as [string];
  return {
    proxy,
    broker,
    server,
    workers: new Workers(desk, field.folders, agents),
    steering: new Steering(desk, broker.direct),
    forger: new Forger(random('forger'), proxy.captured, field.foreign),
    stranger: new Stranger(broker, classId, random('stranger')),
    random: random('scene'),
    place: join(desk.folder, 'private', 'fleet.sqlite'),
    tell,
  };
}

async function goodRelease(stage: Stage, { desk, releases, serials }: Field, { units, tell }: TrialOptions) {
  const { proxy, server, steering, workers, forger } = stage;
  const [, good] = releases;
  workers.start();
  void forger.run(`http://127.0.0.1:${server.port}/reports`);
  void disturbBroker(stage);
  steering.begin(good!.envelope, Math.max(10, units));
  steering.start();
  tell(`${good!.version} begins to go out in ${desk.folder}`);
  await disturb(stage, () => proxy.acknowledged.size / (units * REPORTS_EACH));
  tell('the programme is over; messages are lost as before');
  const well = serials.filter((serial) => !FAILS.test(serial)).length;
  await comes(
    stage,
    'every unit whose self-test holds runs the release, and the broadcast is done',
    async (store, current) => {
      const { byVersion } = await store.counts();
      const done = byVersion.find(({ version }) => version === good!.version)?.units ?? 0;
      // The last few would be waited for in vain for long, where one message of four is lost.
      proxy.quiet = done > NEARLY_ALL * well;
      return { done, over: done === well && current?.state === 'done' };
    },
  );
}

/** A release under which every unit fails its self-test. */
async function badRelease(stage: Stage, { desk, releases, folders }: Field, { units, tell }: TrialOptions) {
  const [, , bad] = releases;
  writeFileSync(join(desk.folder, BAD_DAY), '');
  stage.proxy.quiet = false;
  stage.steering.begin(bad!.envelope, 1);
  tell(`${bad!.version} begins to go out, and no unit will keep it`);
  await comes(stage, 'a rule stops it', async (_, current) => ({
    done: 0,
    over: current?.state === 'paused',
  }));
  stage.proxy.quiet = stage.broker.quiet = true;
  tell('the disturbances are over');
  await comes(
    stage,
    'for two rounds nothing is on trial, and no report is unsent',
    calm(folders, roundOf(units)),
  );
}

function calm(folders: readonly string[], round: number) {
  let since: number | undefined;
  return async (store: FleetStore) => {
    const { byState } = await store.counts();
    const isCalm = byState['on-trial'] === 0 && folders.every(nothingUnsent);
    since = isCalm ? (since ?? performance.now()) : undefined;
    const over = since !== undefined && performance.now() - since > 2000 * round;
    return { done: -byState['on-trial'], over };
  };
}

/** Seconds between two rounds of a unit: so that the agents of a large field do not take all of this machine. */
function roundOf(units: number): number {
  return Math.max(5, Math.ceil(units / 125));
}

function nothingUnsent(folder: string): boolean {
  return readdirSync(folder)
    .filter((name) => name.endsWith('.agent'))
    .every((name) => unsentIn(join(folder, name, 'unsent')) === 0);
}

function unsentIn(folder: string): number {
  try {
    return readdirSync(folder).filter((name) => name.endsWith('.report')).length;
  } catch {
    return 0;
  }
}

async function disturbBroker({ stranger, proxy, broker }: Stage): Promise<void> {
  while (!broker.quiet) {
    await stranger.disturb(proxy.announcements);
    await pause(STRANGER_EVERY_MS);
  }
}

/** Waits until something stands in the books, as long as the trial comes further. */
async function comes(
  { place, proxy, tell }: Stage,
  what: string,
  look: (store: FleetStore, current: Broadcast | undefined) => Promise<{ done: number; over: boolean }>,
): Promise<void> {
  const store = await openFleet(place);
  try {
    let [last, since] = [Number.NEGATIVE_INFINITY, performance.now()];
    for (;;) {
      const [current] = await store.broadcasts();
      const { done, over } = await look(store, current);
      if (over) return tell(`${what}: so it is`);
      const progress = done + proxy.acknowledged.size;
      if (progress > last) [last, since] = [progress, performance.now()];
      if (performance.now() - since > STUCK_MS)
        return tell(`${what}: not so, and nothing comes further (${done})`);
      await pause(LOOK_MS);
    }
  } finally {
    await store.close();
  }
}
