import { type Broadcast, type FleetCounts, type FleetEvent, UNIT_STATES } from '../../fleet/index.ts';
import { EXIT } from '../exit.ts';
import { type FleetDesk, withFleet } from '../fleet.ts';
import type { Output } from '../output.ts';
import type { Call } from '../spec.ts';

const EVENTS = 5;
type Named = Pick<FleetDesk, 'classNamed'>;

/** Shows how many units stand where, what is broadcast, and what happened last. */
export function run(call: Call): Promise<number> {
  return withFleet(call, async (desk) => {
    const counts = await desk.store.counts();
    const broadcasts = await desk.store.broadcasts();
    const events = await desk.store.events({ newestFirst: true, limit: EVENTS });
    showCounts(call.out, counts, desk);
    showCourse(call.out, broadcasts, events, desk);
    call.out.result({
      format: 'fieldseal.fleet-status/1',
      ...countsJson(counts, desk),
      broadcasts: broadcasts.map((broadcast) => broadcastJson(broadcast, desk)),
      events: events.map((event) => ({ ...event, at: event.at.toISOString() })),
    });
    return EXIT.done;
  });
}

function showCounts(
  out: Output,
  { units, byClass, byState, byVersion, byRefusal }: FleetCounts,
  desk: Named,
): void {
  out.line(`${units} units`);
  for (const each of byClass) out.fact(desk.classNamed(each.classId), String(each.units));
  if (units === 0) {
    out.line('next: fieldseal fleet import');
    return;
  }
  out.line('by state:');
  for (const state of UNIT_STATES.filter((each) => byState[each] > 0))
    out.fact(state, String(byState[state]));
  out.line('by version:');
  for (const each of byVersion) out.fact(each.version ?? 'not known', String(each.units));
  if (byRefusal.length > 0) out.line('by refusal:');
  for (const each of byRefusal) out.fact(each.code, `${each.units}, at ${each.step}`);
}

function showCourse(
  out: Output,
  broadcasts: readonly Broadcast[],
  events: readonly FleetEvent[],
  { classNamed }: Named,
): void {
  if (broadcasts.length > 0) out.line('broadcasts:');
  for (const { id, classId, release, state, why } of broadcasts) {
    const told = why === undefined ? state : `${state}: ${why}`;
    out.fact(`${id} ${classNamed(classId)}`, `${release.version}, ${told}`);
  }
  if (events.length > 0) out.line('last events:');
  for (const { at, who, text } of events) out.line(`  ${at.toISOString().slice(0, 19)}Z  ${who}: ${text}`);
}

function countsJson({ units, byClass, byState, byVersion, byRefusal }: FleetCounts, { classNamed }: Named) {
  return {
    units,
    by_class: byClass.map((each) => ({ class: classNamed(each.classId), units: each.units })),
    by_state: byState,
    by_version: byVersion.map((each) => ({ version: each.version ?? null, units: each.units })),
    by_refusal: byRefusal,
  };
}

function broadcastJson(
  { id, classId, release, state, why, revision, created }: Broadcast,
  { classNamed }: Named,
) {
  return {
    broadcast: id,
    class: classNamed(classId),
    version: release.version,
    sequence_number: String(release.sequence),
    state,
    why: why ?? null,
    revision,
    created: created.toISOString(),
  };
}
