import { compare, fromHex, toHex } from '../bytes/index.ts';
import { CborError, type CborItem, CborMap, decode, encode, lookUp } from '../cbor/index.ts';
import { UNIT_LIMITS } from './limits.ts';
import type { AnchorPurpose } from './record.ts';

/**
 * What a trust update says, as a whole: each one replaces the one before. Keys are SHA-256 of SubjectPublicKeyInfo in
 * lower-case hexadecimal.
 */
export interface TrustPolicy {
  /** Lowest generation of a signer of releases. */
  readonly minimumGeneration: number;
  /** Keys that no signer's path may contain. */
  readonly denied: readonly string[];
  /** Roots that count no more. */
  readonly retired: readonly string[];
  /** Floor of the security version; 0 raises none. */
  readonly securityVersion: number;
}

/** What a unit took from trust updates. */
export interface TrustState {
  /** What kind of root stood above the signer of the last one. */
  readonly rank: AnchorPurpose;
  readonly numbers: Readonly<Record<AnchorPurpose, bigint>>;
  readonly manifestDigest: Uint8Array;
  /** Undefined where neither half of the policy area holds what the marks name. */
  readonly policy: TrustPolicy | undefined;
}

const VERSION = 1;
const KEY = { version: 1, minimumGeneration: 2, denied: 3, retired: 4, securityVersion: 5 } as const;
const FINGERPRINT_LENGTH = 32;
const MAXIMUM_UINT32 = 0xffffffff;

/** The policy in deterministic CBOR: a map of five (docs/deployment-profile.md section 15). */
export function encodeTrustPolicy(policy: TrustPolicy): Uint8Array {
  return encode(
    new CborMap([
      [KEY.version, VERSION],
      [KEY.minimumGeneration, policy.minimumGeneration],
      [KEY.denied, sortedBytes(policy.denied)],
      [KEY.retired, sortedBytes(policy.retired)],
      [KEY.securityVersion, policy.securityVersion],
    ]),
  );
}

/** Reads a policy, or says what is wrong with it: unknown fields, lists out of order or too long. Never throws on data. */
export function readTrustPolicy(bytes: Uint8Array): TrustPolicy | { readonly fault: string } {
  try {
    return readMap(decode(bytes));
  } catch (error) {
    if (error instanceof CborError || error instanceof PolicyFault) return { fault: error.message };
    throw error;
  }
}

class PolicyFault extends Error {}

function readMap(item: CborItem): TrustPolicy {
  if (item.type !== 'map') throw new PolicyFault('it is no map');
  const codes: readonly number[] = Object.values(KEY);
  const strange = item.entries.find(({ key }) => key.type !== 'uint' || !codes.includes(Number(key.value)));
  if (strange) throw new PolicyFault('it has a field that is not known here');
  const field = (name: keyof typeof KEY) => {
    const value = lookUp(item, KEY[name]);
    if (value) return value;
    throw new PolicyFault(`field ${KEY[name]} (${name}) is missing`);
  };
  if (uint32(field('version')) !== VERSION) throw new PolicyFault('it is of another version');
  return {
    minimumGeneration: uint32(field('minimumGeneration')),
    denied: fingerprints(field('denied'), UNIT_LIMITS.denied.value),
    retired: fingerprints(field('retired'), UNIT_LIMITS.roots.value),
    securityVersion: uint32(field('securityVersion')),
  };
}

function uint32(item: CborItem): number {
  if (item.type === 'uint' && Number(item.value) <= MAXIMUM_UINT32) return Number(item.value);
  throw new PolicyFault(`byte ${item.start} begins no whole number up to ${MAXIMUM_UINT32}`);
}

/** Ascending and each once, so that one policy has one form. */
function fingerprints(item: CborItem, most: number): string[] {
  if (item.type !== 'array' || item.items.length > most)
    throw new PolicyFault(`byte ${item.start} begins no list of at most ${most} fingerprints`);
  const list = item.items.map((each) => {
    if (each.type === 'bytes' && each.value.length === FINGERPRINT_LENGTH) return each.value;
    throw new PolicyFault(`byte ${each.start} begins no fingerprint of ${FINGERPRINT_LENGTH} bytes`);
  });
  const misplaced = list.findIndex((each, i) => i > 0 && compare(list[i - 1]!, each) >= 0);
  if (misplaced > 0) throw new PolicyFault('a list of fingerprints is not ascending');
  return list.map(toHex);
}

function sortedBytes(list: readonly string[]): Uint8Array[] {
  return [...new Set(list)].toSorted().map(fromHex);
}

/** What `next` would take back of `before`, in words; undefined where nothing is. */
export function loosened(before: TrustPolicy, next: TrustPolicy): string | undefined {
  if (next.minimumGeneration < before.minimumGeneration)
    return `generation ${next.minimumGeneration} after ${before.minimumGeneration}`;
  if (next.securityVersion < before.securityVersion)
    return `security version ${next.securityVersion} after ${before.securityVersion}`;
  const freed = before.denied.find((key) => !next.denied.includes(key));
  if (freed) return `key ${freed} is no longer denied`;
  const back = before.retired.find((key) => !next.retired.includes(key));
  return back && `root ${back} is no longer retired`;
}
