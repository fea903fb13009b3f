import type { ReportOutcome, UnitRefusal, UnitReport } from './types.ts';

/** What a unit's reports amount to. */
export interface Standing {
  /** How the newest report about the release that it was offered ended; undefined before the first. */
  readonly ended: Ended | undefined;
  /** What it said that it runs. */
  readonly runs: Runs | undefined;
  /** Its newest report. */
  readonly heard: Heard | undefined;
}

export interface Ended {
  readonly order: string;
  readonly state: EndState;
  readonly refusal: UnitRefusal | undefined;
}

/** `under-way`: it began, and is not done. */
export type EndState = 'under-way' | 'on-trial' | 'kept' | 'refused' | 'fell-back';

export interface Runs {
  readonly order: string;
  readonly digest: string | undefined;
  readonly sequence: bigint | undefined;
  readonly version: string | undefined;
}

export interface Heard {
  readonly order: string;
  readonly at: Date;
}

export const NOTHING_HEARD: Standing = { ended: undefined, runs: undefined, heard: undefined };

const AGE_DIGITS = 16;
const ID_DIGITS = 16;
const NO_AGE = '-'.repeat(AGE_DIGITS);
/** Of two reports of one age the later one, as far as that can be known: a unit writes no mark when it refuses. */
export const RANK: Readonly<Record<ReportOutcome, number>> = {
  unfinished: 0,
  failed: 1,
  pending: 2,
  success: 3,
};
/** A unit refuses what it fell back from before: it still is the one that fell back. */
const FELL_BACK_BEFORE = 'fell-back-before';
const AFTER_START: readonly string[] = ['start', 'keep'];

/**
 * Where a report stands among the reports of its unit, as text that sorts so: by the age of the unit's marks, which never falls;
 * reports without an age come before all others. It depends on nothing but the report.
 */
export function orderOf({ age, outcome, id }: Pick<UnitReport, 'age' | 'outcome' | 'id'>): string {
  const told = age === undefined ? NO_AGE : String(age).padStart(AGE_DIGITS, '0');
  return `${told}.${RANK[outcome]}.${id.slice(0, ID_DIGITS)}`;
}

/**
 * What a unit's reports amount to after one more. `offered`: the manifest digest of the broadcast that the unit is in; in none, every
 * report counts. Each part follows the newest report that bears on it, so reports may come late, twice, and in any order.
 */
export function standingAfter(before: Standing, report: UnitReport, offered: string | undefined): Standing {
  const order = orderOf(report);
  const { manifestDigest, sequence, version, at } = report;
  const about = offered === undefined || offered === manifestDigest;
  return {
    ended: about ? newer(before.ended, { order, ...endOf(report) }) : before.ended,
    runs:
      report.outcome === 'success'
        ? newer(before.runs, { order, digest: manifestDigest, sequence, version })
        : before.runs,
    heard: newer(before.heard, { order, at }),
  };
}

function newer<T extends { readonly order: string }>(before: T | undefined, next: T): T {
  return before && before.order >= next.order ? before : next;
}

/** A unit that reports about no manifest never ran any: it fell back from nothing. */
function endOf({ outcome, refusal, manifestDigest }: UnitReport): Omit<Ended, 'order'> {
  if (outcome === 'success') return { state: 'kept', refusal: undefined };
  if (outcome === 'pending') return { state: 'on-trial', refusal: undefined };
  if (outcome === 'unfinished') return { state: 'under-way', refusal: undefined };
  const ran = refusal && (AFTER_START.includes(refusal.step) || refusal.code === FELL_BACK_BEFORE);
  return { state: ran && manifestDigest !== undefined ? 'fell-back' : 'refused', refusal };
}
