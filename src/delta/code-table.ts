export const NOOP = 0;
export const ADD = 1;
export const RUN = 2;
export const COPY = 3;

/** One half of a code: what to do, with what size (0: the size follows as an integer), and how to address. */
export interface Instruction {
  readonly type: typeof NOOP | typeof ADD | typeof RUN | typeof COPY;
  readonly size: number;
  readonly mode: number;
}

/** Two instructions behind one byte; the second is often NOOP. */
export type CodePair = readonly [Instruction, Instruction];

/** Address modes of COPY (RFC 3284 section 5.3): SELF, HERE, four near, three same. */
export const MODE_SELF = 0;
export const MODE_HERE = 1;
export const NEAR_MODES = { first: 2, count: 4 } as const;
export const SAME_MODES = { first: 6, count: 3 } as const;
const MODES = SAME_MODES.first + SAME_MODES.count;

/** The largest size that stands in a code itself (RFC 3284 section 5.6). */
export const LARGEST_ADD_IN_CODE = 17;
export const LARGEST_COPY_IN_CODE = 18;
/** The sizes that may share a code: an ADD of 1 to 4 before a short COPY, an ADD of 1 behind a COPY of 4. */
export const LARGEST_PAIRED_ADD = 4;
export const SMALLEST_COPY = 4;

/** The largest COPY that may follow an ADD in one code, by address mode (RFC 3284 section 5.6, rows 12 to 20). */
export function largestPairedCopy(mode: number): number {
  return mode < SAME_MODES.first ? 6 : 4;
}

const noop: Instruction = { type: NOOP, size: 0, mode: 0 };
const add = (size: number): Instruction => ({ type: ADD, size, mode: 0 });
const copy = (size: number, mode: number): Instruction => ({ type: COPY, size, mode });

/** The default instruction code table: 256 pairs (RFC 3284 section 5.6). */
export const CODE_TABLE: readonly CodePair[] = [...singleCodes(), ...addThenCopy(), ...copyThenAdd()];

function* singleCodes(): Generator<CodePair> {
  yield [{ type: RUN, size: 0, mode: 0 }, noop];
  for (let size = 0; size <= LARGEST_ADD_IN_CODE; size++) yield [add(size), noop];
  for (let mode = 0; mode < MODES; mode++) {
    yield [copy(0, mode), noop];
    for (let size = SMALLEST_COPY; size <= LARGEST_COPY_IN_CODE; size++) yield [copy(size, mode), noop];
  }
}

function* addThenCopy(): Generator<CodePair> {
  for (let mode = 0; mode < MODES; mode++) {
    for (let added = 1; added <= LARGEST_PAIRED_ADD; added++) {
      for (let size = SMALLEST_COPY; size <= largestPairedCopy(mode); size++) {
        yield [add(added), copy(size, mode)];
      }
    }
  }
}

function* copyThenAdd(): Generator<CodePair> {
  for (let mode = 0; mode < MODES; mode++) yield [copy(SMALLEST_COPY, mode), add(1)];
}

const codes = new Map(CODE_TABLE.map((pair, code) => [keyOf(...pair), code]));

function keyOf(first: Instruction, second: Instruction): number {
  return instructionKey(first) * 2 ** 12 + instructionKey(second);
}

function instructionKey({ type, size, mode }: Instruction): number {
  return (type * 32 + size) * 16 + mode;
}

/** The code of one instruction, or of two that share one; `undefined` where the table has none. */
export function codeOf(first: Instruction, second: Instruction = noop): number | undefined {
  return codes.get(keyOf(first, second));
}
