import {
  type LmsParameters,
  lmsParameters,
  lmsPublicKeyLength,
  lmsSignatureLength,
  MOST_LEVELS,
  type OtsParameters,
  otsParameters,
} from './parameters.ts';

/** One level of an HSS key. */
export interface HssLevel {
  readonly lms: LmsParameters;
  readonly ots: OtsParameters;
}

/** Parameter sets of an HSS key, top level first (RFC 8554 section 6). */
export type HssShape = readonly HssLevel[];

/** One level by its names or numbers in the IANA registry. */
export interface LevelNames {
  readonly lms: string | number;
  readonly ots: string | number;
}

/** What a key costs, counted in hashes; signing and verifying on average. */
export interface HssCost {
  /** To make the tree of every level once. */
  readonly makeHashes: number;
  readonly signHashes: number;
  readonly verifyHashes: number;
  readonly signatureBytes: number;
}

// 2^20 leaves take minutes (W2) to more than an hour (W8) to make; taller keys use more levels.
const TALLEST_TREE = 20;
// RFC 8554 section 6: 2^60 signatures are more than any use needs; beyond it leaves outgrow a 64-bit number.
const TALLEST_KEY = 60;
const LEVEL_TEXT = /^(?:N(24|32)\/)?H(\d{1,2})\/W(\d)$/i;

/**
 * The shape of these levels, top first. Undefined where a set is unknown, two hash lengths are mixed, there are more than
 * eight levels, a tree is taller than 20 or all of them together than 60: such a key is checked, but not made here.
 */
export function hssShape(levels: readonly LevelNames[]): HssShape | undefined {
  const shape = levels.map((level) => ({ lms: lmsParameters(level.lms), ots: otsParameters(level.ots) }));
  return isShape(shape) ? shape : undefined;
}

/** Reads a shape as people write it: `H10/W4`, with more levels `H10/W8,H10/W8`, with 24-byte hashes `N24/H10/W8`. */
export function parseHssShape(text: string): HssShape | undefined {
  const levels = text.split(',').map((level) => LEVEL_TEXT.exec(level.trim()));
  if (levels.includes(null)) return undefined;
  return hssShape(
    levels.map((level) => {
      const [, n = '32', h, w] = level!;
      return { lms: `LMS_SHA256_M${n}_H${h}`, ots: `LMOTS_SHA256_N${n}_W${w}` };
    }),
  );
}

/** A shape as people write it. */
export function hssShapeText(shape: HssShape): string {
  return shape.map(({ lms, ots }) => `${lms.m === 32 ? '' : 'N24/'}H${lms.h}/W${ots.w}`).join(',');
}

/** A shape by the names of its sets in the IANA registry. */
export function hssShapeNames(shape: HssShape): { lms: string; ots: string }[] {
  return shape.map(({ lms, ots }) => ({ lms: lms.name, ots: ots.name }));
}

/** How many signatures a key of this shape can ever make. */
export function hssCapacity(shape: HssShape): bigint {
  return 2n ** BigInt(heightBelow(shape, 0));
}

/** Height of the levels from `level` down, together. */
export function heightBelow(shape: HssShape, level: number): number {
  return shape.slice(level).reduce((sum, { lms }) => sum + lms.h, 0);
}

/** What keys of this shape cost (RFC 8554 sections 4 to 6: chains of 2^w - 1 steps, of which half are walked). */
export function hssCost(shape: HssShape): HssCost {
  const sum = (cost: (level: HssLevel) => number) => shape.reduce((all, level) => all + cost(level), 0);
  const steps = ({ ots }: HssLevel) => 2 ** ots.w - 1;
  return {
    makeHashes: sum((level) => 2 ** level.lms.h * (level.ots.p * (steps(level) + 1) + 3) - 1),
    signHashes: sum((level) => level.ots.p * (steps(level) / 2 + 1) + 1),
    verifyHashes: sum((level) => (level.ots.p * steps(level)) / 2 + 3 + level.lms.h),
    signatureBytes:
      4 +
      sum(({ lms, ots }) => lmsSignatureLength(lms, ots)) +
      shape.slice(1).reduce((all, { lms }) => all + lmsPublicKeyLength(lms), 0),
  };
}

function isShape(shape: readonly Partial<HssLevel>[]): shape is HssShape {
  if (shape.length < 1 || shape.length > MOST_LEVELS) return false;
  const n = shape[0]!.lms?.m;
  const sound = shape.every(
    ({ lms, ots }) => lms && ots && lms.m === n && ots.n === n && lms.h <= TALLEST_TREE,
  );
  return sound && heightBelow(shape as HssShape, 0) <= TALLEST_KEY;
}
