import { setTimeout as pause } from 'node:timers/promises';
import type { Random } from '../fuzz/random.ts';
import type { TrialBroker } from './broker.ts';
import { HOSTILE, type HttpProxy } from './http-proxy.ts';
import type { TrialServer } from './server.ts';
import type { Steering } from './steering.ts';
import type { Workers } from './workers.ts';

/** What is disturbed. */
export interface Scene {
  readonly proxy: HttpProxy;
  readonly broker: TrialBroker;
  readonly server: TrialServer;
  readonly workers: Workers;
  readonly steering: Steering;
  readonly random: Random;
  /** Tells what is done, as it is done. */
  tell(text: string): void;
}

interface Disturbance {
  readonly name: string;
  act(scene: Scene): Promise<unknown>;
}

/** Blocks of 512 bytes: hardly more than the shared memory of the store has, and less than a unit's flash begins at. */
const LITTLE_ROOM = 72;
const FULL_LASTS_MS = 20_000;
const FULL_OFTEN_ENOUGH = 20;

const killAgents: Disturbance = {
  name: 'an agent process is killed',
  act: ({ workers, random }) => workers.kill(random),
};

const killSteering: Disturbance = {
  name: 'one of two that steer is killed',
  act: ({ steering, random }) => steering.kill(random.below(2)),
};

const killServer: Disturbance = {
  name: 'the server is killed, and comes back',
  async act({ server }) {
    await server.end('SIGKILL');
    await pause(1500);
    await server.start();
  },
};

const loseBroker: Disturbance = {
  name: 'the broker is gone for a while',
  async act({ broker }) {
    await broker.kill();
    await pause(6000);
    await broker.start();
  },
};

const hostileDepot: Disturbance = {
  name: 'the depot serves other bytes for a while',
  async act({ proxy }) {
    proxy.hostile = true;
    await pause(8000);
    // Agents of a slow machine ask seldom: it goes on until each lie was told.
    await until(() => HOSTILE.every((lie) => proxy.met.has(lie)));
    proxy.hostile = false;
  },
};

const fullServer: Disturbance = {
  name: "the server's disk is full for a while",
  async act({ server, proxy }) {
    await server.end('SIGKILL');
    await server.start(LITTLE_ROOM);
    const before = proxy.full;
    const end = performance.now() + FULL_LASTS_MS;
    await until(() => performance.now() > end || proxy.full - before >= FULL_OFTEN_ENOUGH);
    await until(() => proxy.full > before);
    await server.end('SIGKILL');
    await server.start();
  },
};

const fullAgent: Disturbance = {
  name: 'the disk of an agent process is full for a while',
  async act({ workers, random }) {
    const i = await workers.kill(random, { blocks: LITTLE_ROOM });
    await pause(6000);
    await workers.kill(random, { which: i });
  },
};

/** Longest wait for what a disturbance is for. */
const MOST_PATIENCE_MS = 300_000;

async function until(isMet: () => boolean): Promise<void> {
  const end = performance.now() + MOST_PATIENCE_MS;
  while (!isMet() && performance.now() < end) await pause(100);
}

/** In this order, each once the trial has come further: so a slow machine meets them all. */
const PROGRAMME: readonly Disturbance[] = [
  killAgents,
  hostileDepot,
  killSteering,
  killServer,
  killAgents,
  loseBroker,
  fullServer,
  killAgents,
  killSteering,
  fullAgent,
  killServer,
  hostileDepot,
  killAgents,
];
/** Longest wait for the trial to come further before the next one. */
const IDLE_MS = 15_000;

/** Carries out the programme while the trial goes on. `progress`: how far it is, 0 to 1. */
export async function disturb(scene: Scene, progress: () => number): Promise<void> {
  for (const [i, { name, act }] of PROGRAMME.entries()) {
    await furtherThan((i + 0.5) / (PROGRAMME.length + 1), progress);
    scene.tell(name);
    await act(scene);
  }
}

/** Waits for progress, or until there is none for a while. */
async function furtherThan(share: number, progress: () => number): Promise<void> {
  let [last, since] = [progress(), performance.now()];
  while (progress() < share && performance.now() - since < IDLE_MS) {
    await pause(100);
    const now = progress();
    if (now > last) [last, since] = [now, performance.now()];
  }
}
