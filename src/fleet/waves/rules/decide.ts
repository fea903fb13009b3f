import { aboutText, durationText } from '../duration.ts';
import type { PlannedWave } from '../plan/plan.ts';
import type { BroadcastStanding, WaveStanding } from './standing.ts';
import { elapsed, isSuccess, nobody, type Stop, share, stopOf, tooSlow, unitsText } from './stop.ts';

/** What is to be done now; waves count from 1. Every decision says why, in words for people. */
export type Decision =
  | { readonly do: 'open' | 'soak' | 'pass'; readonly wave: number; readonly why: string }
  | { readonly do: 'stop'; readonly wave: number; readonly why: string; readonly stop: Stop }
  | { readonly do: 'done'; readonly why: string }
  | {
      readonly do: 'wait';
      readonly why: string /** When to look again at the latest, where the time decides. */;
      readonly until: Date | undefined;
    };

const OPENED: ReadonlySet<string> = new Set(['open', 'soaking', 'passed']);

/**
 * Decides what comes next for a broadcast; pure, and the only place where that is decided. One step at a time: whoever
 * carries it out asks again. In this order: a broadcast that is not running waits; a stop rule of any opened wave stops,
 * also of one that passed and after the last; then the first wave that has not passed goes on.
 */
export function decide({ plan, state, waves }: BroadcastStanding, now: Date): Decision {
  if (state === 'planned') return wait('it has not begun');
  if (state === 'halted')
    return wait('it was halted, for good: what is offered instead begins as a broadcast of its own');
  if (state === 'paused') return wait('it is paused: nothing is offered until somebody resumes it');
  for (const [i, standing] of waves.entries()) {
    const stop = OPENED.has(standing.state) ? stopOf(plan.waves[i]!, standing, now) : undefined;
    // After the last wave silence is what late units are: asleep, in store, without power.
    if (stop && !(state === 'done' && stop.rule === 'silent'))
      return { do: 'stop', wave: i + 1, why: stop.why, stop };
  }
  if (state === 'done')
    return wait(`every wave passed, and units that come back late are still told; ${endText(waves)}`);
  const at = waves.findIndex((standing) => standing.state !== 'passed');
  if (at < 0) return { do: 'done', why: `every wave passed; ${endText(waves)}` };
  return goOn(plan.waves[at]!, at + 1, waves[at]!, now);
}

function goOn(wave: PlannedWave, number: number, standing: WaveStanding, now: Date): Decision {
  switch (standing.state) {
    case 'planned':
      return open(wave, number);
    case 'open':
      return watch(wave, number, standing, now);
    case 'soaking':
      return soak(wave, number, standing, now);
    default:
      return { do: 'open', wave: number, why: `wave ${wave.name} goes on, as somebody resumed it` };
  }
}

function open({ name, serials, share: permille }: PlannedWave, number: number): Decision {
  const whom =
    serials.length > 0 ? `${unitsText(serials.length)} by name` : `${permille} of a thousand units`;
  const why =
    number === 1
      ? `wave ${name} is the pilot, ${whom}`
      : `the wave before ${name} passed; ${name} reaches ${whom}`;
  return { do: 'open', wave: number, why };
}

function watch(wave: PlannedWave, number: number, standing: WaveStanding, now: Date): Decision {
  const { counts, since } = standing;
  if (counts.units === 0) {
    if (number > 1)
      return {
        do: 'pass',
        wave: number,
        why: `wave ${wave.name}: the lot drew nobody who was not reached before`,
      };
    const stop = nobody(wave);
    return { do: 'stop', wave: number, why: stop.why, stop };
  }
  const kept = `${share(counts.kept, counts.units)} kept the release, the plan asks for ${wave.success} of a thousand`;
  if (isSuccess(wave, counts)) return { do: 'soak', wave: number, why: `wave ${wave.name}: ${kept}` };
  const stop = tooSlow(wave, standing, now);
  if (stop) return { do: 'stop', wave: number, why: stop.why, stop };
  return wait(`wave ${wave.name}: ${kept}`, later(since!, wave.within));
}

function soak(wave: PlannedWave, number: number, standing: WaveStanding, now: Date): Decision {
  const { counts, since } = standing;
  const left = wave.soak - elapsed(since, now);
  if (left > 0)
    return wait(
      `wave ${wave.name} is watched for ${durationText(wave.soak)}; ${aboutText(left)} are left`,
      later(since!, wave.soak),
    );
  const kept = `${share(counts.kept, counts.units)} kept the release`;
  if (isSuccess(wave, counts))
    return {
      do: 'pass',
      wave: number,
      why: `wave ${wave.name}: ${kept}, and it was watched for ${durationText(wave.soak)}`,
    };
  const stop = tooSlow(wave, standing, now);
  if (stop) return { do: 'stop', wave: number, why: stop.why, stop };
  return wait(
    `wave ${wave.name}: only ${kept} now, the plan asks for ${wave.success} of a thousand`,
    later(since!, wave.within),
  );
}

function endText(waves: readonly WaveStanding[]): string {
  const sum = (of: 'units' | 'kept') => waves.reduce((total, { counts }) => total + counts[of], 0);
  const [units, kept] = [sum('units'), sum('kept')];
  return `${share(kept, units)} kept the release, ${units - kept} did not yet`;
}

function later(from: Date, seconds: number): Date {
  return new Date(from.getTime() + seconds * 1000);
}

function wait(why: string, until?: Date): Decision {
  return { do: 'wait', why, until };
}
