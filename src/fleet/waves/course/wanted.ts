import type { Announcement, Reach } from '../../../broadcast/index.ts';
import { fromHex } from '../../../bytes/index.ts';
import type { BroadcastStanding } from '../rules/standing.ts';
import type { Course } from './course.ts';

/** What is to be announced, but for its number and its times. */
export type Wanted = Pick<Announcement, 'wave' | 'reach' | 'offer' | 'steppingStones' | 'condition'>;

const NOBODY: Reach = { kind: 'units', units: [] };

/**
 * What units are to be told as the broadcast stands: the offer to everyone that an opened wave reaches, while it runs and
 * after its end; else that nothing is offered. Undefined before the first wave was opened: nothing was said yet.
 */
export function wantedOf(course: Course, { state, waves }: BroadcastStanding): Wanted | undefined {
  const at = waves.findLastIndex(({ openedAt }) => openedAt !== undefined);
  if (at < 0) return undefined;
  const { plan, offer, steppingStones } = course;
  const wave = plan.waves[at]!.name;
  if (state !== 'running' && state !== 'done') return nothingIn(wave);
  return {
    wave,
    reach: reachOf(course, at),
    offer,
    ...(steppingStones.length > 0 && { steppingStones }),
    ...(plan.condition !== undefined && { condition: plan.condition }),
  };
}

/** That nothing is offered now. */
export function nothingIn(wave: string): Wanted {
  return { wave, reach: NOBODY, offer: null };
}

/** Whom the waves up to `at`, counted from 0, reach together. */
function reachOf({ plan, lot, named }: Course, at: number): Reach {
  const { share } = plan.waves[at]!;
  const units = named.map((device) => fromHex(device));
  if (share === 0) return { kind: 'units', units };
  return { kind: 'share', permille: share, lot, ...(units.length > 0 && { units }) };
}
