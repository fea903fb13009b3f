import {
  type AttestationRules,
  attestationProblems,
  REACTIONS,
  SELF_CHECK_LIMITS,
  SELF_CHECK_METHODS,
  type SelfCheckRules,
} from './attestation-rules.ts';
import { choice, count, fail, list, object, optional, type Reader, text } from './json-read.ts';
import type { UnitRecord } from './record.ts';

const { leastSlice, mostSlice, mostSeconds } = SELF_CHECK_LIMITS;
const MOST_REGIONS = 8;

const bounded =
  (least: number, most: number): Reader<number> =>
  (value, path) => {
    const number = count(most)(value, path);
    return number >= least ? number : fail(path, `${number}`, `a whole number from ${least} to ${most}`);
  };

const selfCheck: Reader<SelfCheckRules> = object({
  method: choice(...SELF_CHECK_METHODS),
  slice_bytes: bounded(leastSlice, mostSlice),
  every_seconds: bounded(1, mostSeconds),
  reaction: choice(...REACTIONS),
});

/** Reads the attestation rules of a unit record. */
export const attestationRules: Reader<AttestationRules> = object({
  regions: optional(list(text({}), { minimum: 1, maximum: MOST_REGIONS })),
  self_check: optional(selfCheck),
}) as Reader<AttestationRules>;

/** Rules that name what the memory map does not have, or that no unit could follow, are refused. */
export function checkAttestation({ attestation, memory }: UnitRecord): void {
  const problem = attestation && attestationProblems(attestation, memory)[0];
  if (problem) fail(['attestation', ...problem.path], problem.says, problem.expected);
}
