import { durationText } from '../duration.ts';
import type { PlannedWave, StopLimit } from '../plan/plan.ts';
import type { WaveCounts, WaveStanding } from './standing.ts';

const THOUSAND = 1000;

/** A rule that stops. */
export type StopRule = 'refused' | 'fell-back' | 'silent' | 'too-slow' | 'nobody';

/** Why a wave stops, with the figures. */
export interface Stop {
  readonly rule: StopRule;
  /** How many units, of how many, and the limit that they went past. */
  readonly count: number;
  readonly of: number;
  readonly limit: StopLimit;
  readonly why: string;
}

interface Counted {
  readonly rule: StopRule;
  readonly count: number;
  readonly of: number;
  readonly limit: StopLimit;
  readonly did: string;
  readonly whom: string;
}

/**
 * The rule that stops an opened wave now, or undefined. Refusals and fall-backs are shares of the units that answered, so
 * that a wave which is only beginning to answer is judged by what it says; silence is a share of the whole wave, and
 * counts once the silence time has passed since the wave was opened.
 */
export function stopOf(wave: PlannedWave, standing: WaveStanding, now: Date): Stop | undefined {
  const { counts, known } = standing;
  const answered = counts.kept + counts.refused + counts.fellBack;
  const { refused, fellBack, silent } = wave.stop;
  const told: Counted[] = [
    {
      rule: 'refused',
      count: counts.refused,
      of: answered,
      limit: refused,
      did: 'refused',
      whom: 'that answered',
    },
    {
      rule: 'fell-back',
      count: counts.fellBack,
      of: answered,
      limit: fellBack,
      did: 'fell back',
      whom: 'that answered',
    },
  ];
  if (elapsed(standing.openedAt, now) >= wave.silence)
    told.push({
      rule: 'silent',
      count: counts.silent,
      of: counts.units,
      limit: silent,
      did: `were not heard of for ${durationText(wave.silence)}`,
      whom: 'of the wave',
    });
  const before = { refused: known.refused, 'fell-back': known.fellBack, silent: known.silent } as const;
  for (const each of told) {
    const fresh = each.count - (before[each.rule as keyof typeof before] ?? 0);
    if (isPast(fresh, each.of, each.limit)) return { ...each, count: fresh, why: whyOf(wave, each, fresh) };
  }
  return undefined;
}

/** Why a wave that had its time stops: too few kept the release. */
export function tooSlow(wave: PlannedWave, { counts, since }: WaveStanding, now: Date): Stop | undefined {
  if (elapsed(since, now) < wave.within) return undefined;
  const why =
    `wave ${wave.name}: ${share(counts.kept, counts.units)} kept the release after ${durationText(wave.within)}; ` +
    `the plan asks for ${wave.success} of a thousand within that time`;
  const limit = { share: wave.success, least: 1 };
  return { rule: 'too-slow', count: counts.kept, of: counts.units, limit, why };
}

/** Why a pilot without units stops. */
export function nobody(wave: PlannedWave): Stop {
  const why = `wave ${wave.name}: no unit is in it, and nothing is learnt from a pilot of nobody`;
  return { rule: 'nobody', count: 0, of: 0, limit: { share: 0, least: 1 }, why };
}

/** Whether enough units of a wave kept the release. */
export function isSuccess(wave: PlannedWave, { kept, units }: WaveCounts): boolean {
  return kept * THOUSAND >= wave.success * units;
}

/** Seconds since `from`; none where it is not set. */
export function elapsed(from: Date | undefined, now: Date): number {
  return from ? (now.getTime() - from.getTime()) / 1000 : 0;
}

/** `1 unit`, `12 units`. */
export function unitsText(count: number): string {
  return `${count} unit${count === 1 ? '' : 's'}`;
}

/** `12 of 400 units (30 of a thousand)`. */
export function share(count: number, of: number): string {
  const permille = of === 0 ? 0 : Math.floor((count * THOUSAND) / of);
  return `${count} of ${unitsText(of)} (${permille} of a thousand)`;
}

function isPast(count: number, of: number, { share: most, least }: StopLimit): boolean {
  return count >= least && count * THOUSAND > most * of;
}

function whyOf(wave: PlannedWave, { did, of, limit, whom, count }: Counted, fresh: number): string {
  const more = fresh === count ? '' : `, beside ${count - fresh} that were known when it was resumed`;
  return (
    `wave ${wave.name}: ${share(fresh, of)} ${whom} ${did}${more}; ` +
    `the plan stops at more than ${limit.share} of a thousand and at least ${limit.least}`
  );
}
