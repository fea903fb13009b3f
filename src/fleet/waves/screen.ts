import type { DeviceClass, JsonObject } from '../../workspace/index.ts';
import type { Broadcast, FleetStore, Wave, WaveCounts } from '../store/types.ts';
import { type Course, courseFrom } from './course/course.ts';
import { standingOf } from './course/standing.ts';
import type { PlannedWave } from './plan/plan.ts';
import { decide } from './rules/decide.ts';
import type { WaveStanding } from './rules/standing.ts';
import { steeringLease } from './steer/lease.ts';

/**
 * What a screen shows of a broadcast, and `broadcast status --json` tells: its waves with their rules and counts, who steers
 * it, and what comes next, in words. It changes nothing, and asks the store for counts only.
 */
export async function broadcastJson(
  store: FleetStore,
  { name }: DeviceClass,
  broadcast: Broadcast,
  now: Date,
): Promise<JsonObject> {
  const course = courseFrom(broadcast.plan);
  const standing = await standingOf(store, broadcast, course, now);
  const next = decide(standing, now);
  const waves = await store.waves(broadcast.id);
  const counts = await store.waveCounts(broadcast.id);
  const steered = await store.holderOf(steeringLease(broadcast.classId));
  return {
    format: 'fieldseal.broadcast/1',
    class: name,
    broadcast: broadcast.id,
    release: {
      version: broadcast.release.version,
      sequence_number: String(broadcast.release.sequence),
      manifest_digest: broadcast.release.manifestDigest,
    },
    state: broadcast.state,
    why: broadcast.why ?? null,
    begun: broadcast.created.toISOString(),
    steered_by: steered?.holder ?? null,
    condition: course.plan.condition ?? null,
    stepping_stones: course.plan.steppingStones.map(String),
    waves: waves.map((wave, i) =>
      waveJson(
        wave,
        course,
        standing.waves[i]!,
        counts.find(({ number }) => number === wave.number),
      ),
    ),
    next: {
      do: next.do,
      wave: 'wave' in next ? next.wave : null,
      why: next.why,
      until: next.do === 'wait' ? (next.until?.toISOString() ?? null) : null,
    },
  };
}

function waveJson(
  { number, name, state, openedAt, since, why }: Wave,
  { plan, named }: Course,
  { counts, known }: WaveStanding,
  told: WaveCounts | undefined,
): JsonObject {
  const rules = plan.waves[number - 1]!;
  return {
    number,
    name,
    share: rules.share || null,
    named: number === 1 ? named.length : 0,
    state,
    opened: openedAt?.toISOString() ?? null,
    since: since?.toISOString() ?? null,
    why: why ?? null,
    units: counts.units,
    waiting: told?.byState.waiting ?? 0,
    reached: told?.byState.reached ?? 0,
    on_trial: counts.onTrial,
    late: told && state === 'passed' ? lateUnits(told) : 0,
    kept: counts.kept,
    refused: counts.refused,
    fell_back: counts.fellBack,
    silent: counts.silent,
    known: { refused: known.refused, fell_back: known.fellBack, silent: known.silent },
    refusals: (told?.byRefusal ?? []).map(({ step, code, units }) => ({ step, code, units })),
    rules: rulesJson(rules),
  };
}

/** Units of a wave that did not come to an end; late ones, once it has passed: the wave went on without them. */
export function lateUnits({ byState }: Pick<WaveCounts, 'byState'>): number {
  return byState.reached + byState['on-trial'];
}

function rulesJson({ soak, success, within, silence, stop }: PlannedWave): JsonObject {
  return {
    soak_s: soak,
    success,
    within_s: within,
    silence_s: silence,
    stop: { refused: { ...stop.refused }, fell_back: { ...stop.fellBack }, silent: { ...stop.silent } },
  };
}
