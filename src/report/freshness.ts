import { equalInConstantTime } from '../crypto/index.ts';
import type { KnownRelease, LastHeard } from './appraisal.ts';
import type { Notes } from './notes.ts';
import type { SuitReport } from './report.ts';

const NONCE_SOURCE = '[RPT] 4; RFC 9334 10.2';
const AGE_SOURCE = 'docs/reports.md; [RPT] 4';

/** What bears on whether a report is new. */
export interface FreshnessCase {
  readonly report: SuitReport;
  readonly age: number | undefined;
  readonly release: KnownRelease | undefined;
  readonly last: LastHeard | undefined;
  readonly nonce: Uint8Array | undefined;
}

/**
 * Whether a report is new: it answers the challenge that was sent, and nothing newer was heard of the unit. The age of the
 * marks orders reports; the floor of a unit never falls, so neither does the number that it says it kept.
 */
export function judgeFreshness(notes: Notes, subject: FreshnessCase): void {
  const answers = subject.nonce === undefined || judgeNonce(notes, subject.report.nonce, subject.nonce);
  if (answers) judgeAge(notes, subject);
}

function judgeNonce(notes: Notes, found: Uint8Array | undefined, expected: Uint8Array): boolean {
  if (!found) notes.fails('nonce-missing', 'no nonce', NONCE_SOURCE);
  else if (!equalInConstantTime(found, expected)) notes.fails('nonce-wrong', 'another nonce', NONCE_SOURCE);
  else {
    notes.holds('freshness', 'it answers the challenge', NONCE_SOURCE);
    return true;
  }
  return false;
}

function judgeAge(notes: Notes, { report, age, release, last, nonce }: FreshnessCase): void {
  if (!last) {
    if (!nonce)
      notes.skip('freshness', 'the first report of this unit, and no challenge was sent', AGE_SOURCE);
    return;
  }
  const { keptNumber } = last;
  const number = release?.sequenceNumber;
  if (age !== undefined && age < last.age) {
    notes.fails('stale', `age ${age}; the unit was heard at age ${last.age}`, AGE_SOURCE);
  } else if (
    report.result === true &&
    keptNumber !== undefined &&
    number !== undefined &&
    number < keptNumber
  ) {
    notes.fails(
      'stale',
      `number ${number} is kept; the unit said before that it kept ${keptNumber}`,
      AGE_SOURCE,
    );
  } else if (!nonce) judgeOrder(notes, age, last);
}

function judgeOrder(notes: Notes, age: number | undefined, last: LastHeard): void {
  if (age === undefined) notes.skip('freshness', 'neither a challenge nor an age to go by', AGE_SOURCE);
  else if (age === last.age) {
    notes.holds(
      'freshness',
      'as new as the last one: the unit wrote no mark since, or it is the same report',
      AGE_SOURCE,
    );
  } else
    notes.holds(
      'freshness',
      `newer than the last one, by ${age - last.age} on the scale of its marks`,
      AGE_SOURCE,
    );
}
