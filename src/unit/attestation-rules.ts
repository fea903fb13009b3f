import { codeAreas, type MemoryMap } from '../image/index.ts';
import type { JsonPath } from './json-read.ts';

/** What a unit does when its self-check finds code that has changed. */
export const REACTIONS = ['report', 'restart', 'stop'] as const;
export type Reaction = (typeof REACTIONS)[number];

/**
 * How a unit checks the code that runs while it runs. `blocks`: digests of blocks, taken at the verified start and kept in
 * protected memory; each is compared by itself. `whole`: the image is hashed in slices and compared with the sealed digest.
 */
export const SELF_CHECK_METHODS = ['blocks', 'whole'] as const;

/** The periodic self-check of a unit. */
export interface SelfCheckRules {
  readonly method: (typeof SELF_CHECK_METHODS)[number];
  /** Bytes read at one tick at most: a block, or a slice. */
  readonly slice_bytes: number;
  /** From one tick to the next. */
  readonly every_seconds: number;
  readonly reaction: Reaction;
}

/** What may be measured on a unit, and how it checks itself. */
export interface AttestationRules {
  /** Areas that may be measured for a challenge, by name. Absent: every area that holds code. */
  readonly regions?: readonly string[];
  readonly self_check?: SelfCheckRules;
}

/** Bounds of a self-check. */
export const SELF_CHECK_LIMITS = {
  leastSlice: 64,
  mostSlice: 1 << 20,
  mostBlocks: 4096,
  mostSeconds: 7 * 24 * 3600,
} as const;

/** One mistake in the rules: the field, what is wrong, what was expected. */
export interface RulesProblem {
  readonly path: JsonPath;
  readonly says: string;
  readonly expected: string;
}

/** What is wrong with the rules on a unit with that memory map; empty where they are sound. */
export function attestationProblems(
  { regions = [], self_check }: AttestationRules,
  memory: MemoryMap,
): RulesProblem[] {
  const areas = codeAreas(memory);
  const problems: RulesProblem[] = [];
  const names = areas.map(({ name }) => name);
  const unknown = regions.findIndex((name) => !names.includes(name));
  if (unknown >= 0) {
    const says = `no area that holds code is called ${regions[unknown]}`;
    problems.push({ path: ['regions', unknown], says, expected: `one of ${names.join(', ')}` });
  }
  if (self_check?.method !== 'blocks') return problems;
  const most = Math.max(...areas.map(({ size }) => Math.ceil(size / self_check.slice_bytes)));
  if (most > SELF_CHECK_LIMITS.mostBlocks) {
    const says = `${most} blocks, with 32 bytes of protected memory for each`;
    const expected = `at most ${SELF_CHECK_LIMITS.mostBlocks} blocks: a larger slice, or the method whole`;
    problems.push({ path: ['self_check', 'slice'], says, expected });
  }
  return problems;
}
