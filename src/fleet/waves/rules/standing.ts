import type { BroadcastPlan } from '../plan/plan.ts';

/** Units of one wave by what is known of them. A unit is in the first wave that reaches it. */
export interface WaveCounts {
  /** All of them. */
  readonly units: number;
  readonly onTrial: number;
  readonly kept: number;
  readonly refused: number;
  readonly fellBack: number;
  /** Reached, without an end, and not heard of for the silence time of the wave. */
  readonly silent: number;
}

/** What stopped a wave before, and was then known when somebody resumed: it does not count again. */
export type Known = Pick<WaveCounts, 'refused' | 'fellBack' | 'silent'>;

export type WaveState = 'planned' | 'open' | 'soaking' | 'passed' | 'stopped';

/** How a wave stands. */
export interface WaveStanding {
  readonly state: WaveState;
  /** When it was opened first. */
  readonly openedAt: Date | undefined;
  /** When its state began. */
  readonly since: Date | undefined;
  readonly counts: WaveCounts;
  readonly known: Known;
}

export type BroadcastState = 'planned' | 'running' | 'paused' | 'halted' | 'done';

/** How a broadcast stands: its waves in the order of the plan. */
export interface BroadcastStanding {
  readonly plan: BroadcastPlan;
  readonly state: BroadcastState;
  readonly waves: readonly WaveStanding[];
}

export const NOTHING_KNOWN: Known = { refused: 0, fellBack: 0, silent: 0 };
