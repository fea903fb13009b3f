import { setTimeout as pause } from 'node:timers/promises';
import type { Latest } from '../herald/latest.ts';
import type { Agent } from './agent.ts';
import type { Gate } from './gate.ts';
import type { Outbox } from './outbox.ts';

/** A unit that is attended to. */
export interface Attended {
  readonly agent: Agent;
  /** Where its reports wait; undefined where they are not sent. */
  readonly outbox: Outbox | undefined;
  /** What a broker published for it. */
  readonly published: Latest;
  /** Told what went wrong in a round that others need not end for. */
  trouble(error: unknown): void;
}

/** How units are attended to. */
export interface Rhythm {
  /** Milliseconds between two rounds; each waits up to a fifth longer, so that units do not ask together. */
  readonly every: number;
  /** Milliseconds over which the first rounds, and what a broker tells all of them, are spread. */
  readonly spread: number;
  /** How many act at once. */
  readonly gate: Gate;
  readonly stop: AbortSignal;
}

const SPREAD_OF_ROUNDS = 0.2;
/** Between two messages of a broker, so that a flood of them does not keep the unit busy. */
const RECESS_MS = 1000;

/** One round of a unit: started first where it was not, its reports sent afterwards. */
export async function attendOnce({ agent, outbox }: Attended, isAwake: boolean): Promise<void> {
  if (!isAwake) await agent.wake();
  await agent.round();
  await outbox?.send();
}

/**
 * Attends to a unit until `stop`: starts it, asks at its rate, acts on what is published, sends its reports. What goes wrong
 * is told, and tried again in the next round.
 */
export async function attend(unit: Attended, rhythm: Rhythm): Promise<void> {
  const { gate, stop } = rhythm;
  let isAwake = false;
  await nap(Math.random() * rhythm.spread, stop);
  while (!stop.aborted) {
    await gate
      .pass(async () => {
        if (stop.aborted) return;
        await attendOnce(unit, isAwake);
        isAwake = true;
      })
      .catch((error: unknown) => unit.trouble(error));
    await listenUntil(
      unit,
      rhythm,
      performance.now() + rhythm.every * (1 + Math.random() * SPREAD_OF_ROUNDS),
    );
  }
}

/** Acts on what is published, one at a time, and sends reports when they are due, until the next round. */
async function listenUntil(unit: Attended, { gate, stop, spread }: Rhythm, round: number): Promise<void> {
  const { agent, outbox, published } = unit;
  for (;;) {
    const left = round - performance.now();
    if (stop.aborted || left <= 0) return;
    const message = await published.next(Math.min(left, outbox?.dueIn() ?? left));
    if (stop.aborted) return;
    if (message) await nap(Math.random() * spread, stop);
    await gate
      .pass(async () => {
        if (message) await agent.told(message);
        await outbox?.send();
      })
      .catch((error: unknown) => unit.trouble(error));
    if (message) await nap(RECESS_MS, stop);
  }
}

async function nap(ms: number, signal: AbortSignal): Promise<void> {
  if (ms >= 1) await pause(ms, undefined, { signal }).catch(() => {});
}
