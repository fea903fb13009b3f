import type { Acceptance } from './accept.ts';
import { FACT_NAMES } from './inventory/facts.ts';
import type { Judged } from './remedies.ts';
import type { AcceptanceDocument } from './schema.ts';

/** What the document says that the acceptance itself does not know. */
export type AcceptanceCircumstances = Pick<
  AcceptanceDocument,
  'rehearsed' | 'envelope' | 'image' | 'inventory' | 'minimum_battery'
>;

/** Groups that are written out one by one; the counts are of all. */
const MOST_WRITTEN = 5_000;

/** An acceptance as it is written down (format fieldseal.acceptance/1). */
export function acceptanceJson(
  acceptance: Acceptance,
  circumstances: AcceptanceCircumstances,
): AcceptanceDocument {
  const { judged, unread, remedies, payload, standInMac } = acceptance;
  const counts = countsOf(acceptance);
  return {
    format: 'fieldseal.acceptance/1',
    outcome: outcomeOf(counts),
    ...circumstances,
    manifest_digest: payload.manifestDigest ?? null,
    sequence_number: payload.sequenceNumber?.toString() ?? null,
    stand_in_mac: standInMac,
    counts,
    groups: judged.slice(0, MOST_WRITTEN).map(groupJson),
    remedies: remedies.map(({ classes, changes, ...rest }) => ({
      ...rest,
      classes: [...classes],
      changes: [...changes],
    })),
    unread: unread.map(({ mistake, units, examples }) => ({
      ...mistake,
      units,
      examples: examples.map(({ place, serial, found }) => ({ line: place.line, serial, found })),
    })),
  };
}

function outcomeOf(counts: AcceptanceDocument['counts']): AcceptanceDocument['outcome'] {
  if (counts.refused > 0) return 'some are left behind';
  const whole = counts.unread === 0 && counts.not_judged_to_the_end === 0 && counts.units > 0;
  return whole ? 'everyone accepts' : 'not all could be judged';
}

function countsOf({ units, judged, unread }: Acceptance): AcceptanceDocument['counts'] {
  const sum = (of: (each: Judged) => number) => judged.reduce((total, each) => total + of(each), 0);
  const saying = (verdict: Judged['answer']['verdict']) =>
    sum(({ group, answer }) => (answer.verdict === verdict ? group.units : 0));
  return {
    units,
    accepted: saying('accepted'),
    not_judged_to_the_end: saying('as far as it can be judged'),
    refused: saying('refused'),
    unread: unread.reduce((total, each) => total + each.units, 0),
    groups: judged.length,
    low_battery: sum(({ group }) => group.lowBattery),
    debug_open: sum(({ group }) => group.debugOpen),
  };
}

function groupJson({ group, answer }: Judged): AcceptanceDocument['groups'][number] {
  const { refusal } = answer;
  return {
    class: group.ofClass.name,
    verdict: answer.verdict,
    refusal: refusal && {
      code: refusal.code,
      step: refusal.step,
      says: refusal.says,
      meaning: refusal.meaning,
      next: refusal.next,
      source: refusal.source,
    },
    because: answer.because,
    not_judged: answer.notJudged,
    units: group.units,
    serials: [...group.serials],
    facts: Object.fromEntries(
      FACT_NAMES.flatMap((name) => (group.facts[name] === undefined ? [] : [[name, group.facts[name]]])),
    ),
    ranges: Object.fromEntries(
      [...group.ranges].map(([name, { low, high }]) => [
        name,
        { low: low.toString(), high: high.toString() },
      ]),
    ),
    low_battery: group.lowBattery,
    debug_open: group.debugOpen,
  };
}
