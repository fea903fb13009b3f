import type { Broadcast, FleetStore } from '../../store/types.ts';
import type { BroadcastStanding, Known } from '../rules/standing.ts';
import { stopOf, tooSlow } from '../rules/stop.ts';
import { courseFrom } from './course.ts';
import { standingOf } from './standing.ts';

/** What a person orders, why, and who it is. */
export interface Order {
  readonly store: FleetStore;
  readonly broadcast: Broadcast;
  readonly who: string;
  readonly why: string;
  readonly now: Date;
}

/** Offers nothing until it is resumed. Throws `FleetError` change-not-allowed, revision-passed. */
export function pause(order: Order): Promise<Broadcast> {
  return set(order, 'paused');
}

/** Ends it for good, and offers nothing. Throws `FleetError` change-not-allowed, revision-passed. */
export function halt(order: Order): Promise<Broadcast> {
  return set(order, 'halted');
}

/**
 * Goes on after a pause or a stop. What the rules count up to now is taken down as known, wave by wave, before anything goes
 * on: it does not stop the broadcast again, and whatever comes beside it does. Throws `FleetError`.
 */
export async function resume(order: Order): Promise<void> {
  const { store, broadcast, who, now } = order;
  const standing = await standingOf(store, broadcast, courseFrom(broadcast.plan), now);
  let { revision } = broadcast;
  for (const number of stopped(standing, now)) {
    const { counts } = standing.waves[number - 1]!;
    const { refused, fellBack, silent } = counts;
    const known = { refused, fellBack, silent };
    const wave = { broadcast: broadcast.id, number, state: 'stopped' as const, known, who };
    await store.setWaveState({ ...wave, expectedRevision: revision, why: `known now: ${knownText(known)}` });
    revision += 1;
  }
  await set({ ...order, broadcast: { ...broadcast, revision } }, 'running');
}

/** Numbers of the waves that were stopped, or that a rule would stop at once. */
function stopped({ plan, waves }: BroadcastStanding, now: Date): number[] {
  return waves.flatMap((wave, i) => {
    if (wave.state === 'planned') return [];
    const rules = plan.waves[i]!;
    const isSlow = wave.state !== 'passed' && tooSlow(rules, wave, now) !== undefined;
    return wave.state === 'stopped' || isSlow || stopOf(rules, wave, now) ? [i + 1] : [];
  });
}

function set(
  { store, broadcast, who, why }: Order,
  state: 'running' | 'paused' | 'halted',
): Promise<Broadcast> {
  const { id, revision: expectedRevision } = broadcast;
  return store.setBroadcastState({ id, expectedRevision, state, why, who });
}

function knownText({ refused, fellBack, silent }: Known): string {
  return `${refused} refused, ${fellBack} fell back, ${silent} silent`;
}
