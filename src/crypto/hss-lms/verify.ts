import { equalInConstantTime } from '../primitives.ts';
import { digitsOf, innerNode, lastStep, leafNode, messageHash, walkChains } from './chains.ts';
import {
  type LmsParameters,
  lmsParameters,
  lmsPublicKeyLength,
  lmsSignatureLength,
  MOST_LEVELS,
  type OtsParameters,
  otsParameters,
  otsSignatureLength,
} from './parameters.ts';

/** An LMS public key taken apart (RFC 8554 section 5.3). */
export interface LmsPublicKey {
  readonly lms: LmsParameters;
  readonly ots: OtsParameters;
  readonly identifier: Uint8Array;
  readonly root: Uint8Array;
  readonly bytes: Uint8Array;
}

/** An HSS public key: number of levels and the key of the top tree (RFC 8554 section 6.1). */
export interface HssPublicKey {
  readonly levels: number;
  readonly top: LmsPublicKey;
}

/** One level of a signature, taken apart but not judged: whose tree, which leaf, what it signs. */
export interface SignedLevel {
  readonly key: LmsPublicKey;
  readonly leaf: number;
  readonly signature: Uint8Array;
}

/** Reads an HSS public key, 4-byte level count first; undefined for anything malformed or unknown. */
export function readHssPublicKey(bytes: Uint8Array): HssPublicKey | undefined {
  if (bytes.length < 8) return undefined;
  const levels = u32(bytes, 0);
  if (levels < 1 || levels > MOST_LEVELS) return undefined;
  const top = readLmsPublicKey(bytes.subarray(4));
  return top && top.bytes.length === bytes.length - 4 ? { levels, top } : undefined;
}

/** Verifies an HSS signature over `message` (RFC 8554 section 6.3). False for every malformed input. */
export function verifyHss(key: HssPublicKey, message: Uint8Array, signature: Uint8Array): boolean {
  const levels = readLevels(key, signature);
  return levels?.every((level, i) => verifyLms(level, levels[i + 1]?.key.bytes ?? message)) ?? false;
}

/**
 * Takes a signature apart, level by level, the top first (RFC 8554 section 6.2): every length and type is that of its
 * level's key, and nothing follows. Undefined otherwise. Nothing is verified yet.
 */
export function readLevels(key: HssPublicKey, signature: Uint8Array): SignedLevel[] | undefined {
  if (signature.length < 4 || u32(signature, 0) !== key.levels - 1) return undefined;
  const levels: SignedLevel[] = [];
  let current = key.top;
  let offset = 4;
  for (;;) {
    const level = readLevel(current, signature.subarray(offset));
    if (!level) return undefined;
    levels.push(level);
    offset += level.signature.length;
    if (levels.length === key.levels) return offset === signature.length ? levels : undefined;
    const below = readLmsPublicKey(signature.subarray(offset));
    if (!below) return undefined;
    offset += below.bytes.length;
    current = below;
  }
}

/** Reads the LMS public key that `bytes` begin with. */
function readLmsPublicKey(bytes: Uint8Array): LmsPublicKey | undefined {
  if (bytes.length < 8) return undefined;
  const lms = lmsParameters(u32(bytes, 0));
  const ots = otsParameters(u32(bytes, 4));
  if (!lms || !ots || lms.m !== ots.n) return undefined;
  const length = lmsPublicKeyLength(lms);
  if (bytes.length < length) return undefined;
  return {
    lms,
    ots,
    identifier: bytes.subarray(8, 24),
    root: bytes.subarray(24, length),
    bytes: bytes.subarray(0, length),
  };
}

// RFC 8554 algorithm 6a: both types must be those of the key, the leaf inside the tree.
function readLevel(key: LmsPublicKey, bytes: Uint8Array): SignedLevel | undefined {
  const { lms, ots } = key;
  const length = lmsSignatureLength(lms, ots);
  if (bytes.length < length) return undefined;
  const leaf = u32(bytes, 0);
  const sound =
    u32(bytes, 4) === ots.type && u32(bytes, pathStart(ots) - 4) === lms.type && leaf < 2 ** lms.h;
  return sound ? { key, leaf, signature: bytes.subarray(0, length) } : undefined;
}

/** RFC 8554 algorithms 6 and 6a: the root that the signature leads to must be the key's. */
function verifyLms(level: SignedLevel, message: Uint8Array): boolean {
  const { lms, ots, identifier, root } = level.key;
  const path = level.signature.subarray(pathStart(ots));
  let node = 2 ** lms.h + level.leaf;
  let value = leafNode(lms.m, identifier, node, oneTimeKeyFrom(level, message));
  for (let height = 0; height < lms.h; height++) {
    const sibling = path.subarray(height * lms.m, (height + 1) * lms.m);
    const [left, right] = node % 2 === 1 ? [sibling, value] : [value, sibling];
    node = Math.floor(node / 2);
    value = innerNode(lms.m, identifier, node, left, right);
  }
  return equalInConstantTime(value, root);
}

/** RFC 8554 algorithm 4b: the one-time public key that a signature stands for. */
function oneTimeKeyFrom({ key, leaf, signature }: SignedLevel, message: Uint8Array): Uint8Array {
  const { ots: set, identifier } = key;
  const oneTime = { set, identifier, leaf };
  const value = (index: number) => signature.subarray(8 + set.n * index, 8 + set.n * (index + 1));
  const digits = digitsOf(set, messageHash(oneTime, value(0), message));
  const walk = walkChains(oneTime);
  for (const [chain, from] of digits.entries()) walk.from(chain, value(chain + 1), from, lastStep(set));
  return walk.key();
}

// q and the one-time signature stand before the type and the path.
function pathStart(set: OtsParameters): number {
  return 4 + otsSignatureLength(set) + 4;
}

function u32(bytes: Uint8Array, offset: number): number {
  return new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength).getUint32(offset);
}
