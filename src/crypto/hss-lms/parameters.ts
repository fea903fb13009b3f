/**
 * The parameter sets of HSS/LMS over SHA-256, by their numbers in the IANA registry "Leighton-Micali Signatures": n = 32
 * of RFC 8554, n = 24 of RFC 9858 (SHA-256 cut to 192 bits). Both are approved in NIST SP 800-208.
 */

/** One LM-OTS parameter set: `n` bytes a hash, Winternitz width `w` bits, `p` chains, checksum shift `ls`. */
export interface OtsParameters {
  readonly type: number;
  readonly name: string;
  readonly n: number;
  readonly w: number;
  readonly p: number;
  readonly ls: number;
}

/** One LMS parameter set: `m` bytes a node, tree height `h` (2^h signatures). */
export interface LmsParameters {
  readonly type: number;
  readonly name: string;
  readonly m: number;
  readonly h: number;
}

const ots = (type: number, name: string, n: number, w: number, p: number, ls: number): OtsParameters => ({
  type,
  name,
  n,
  w,
  p,
  ls,
});

/** LM-OTS types: RFC 8554 section 4.1 (n = 32) and RFC 9858 section 4 (n = 24), over SHA-256. */
const OTS_TYPES: readonly OtsParameters[] = [
  ots(1, 'LMOTS_SHA256_N32_W1', 32, 1, 265, 7),
  ots(2, 'LMOTS_SHA256_N32_W2', 32, 2, 133, 6),
  ots(3, 'LMOTS_SHA256_N32_W4', 32, 4, 67, 4),
  ots(4, 'LMOTS_SHA256_N32_W8', 32, 8, 34, 0),
  ots(5, 'LMOTS_SHA256_N24_W1', 24, 1, 200, 8),
  ots(6, 'LMOTS_SHA256_N24_W2', 24, 2, 101, 6),
  ots(7, 'LMOTS_SHA256_N24_W4', 24, 4, 51, 4),
  ots(8, 'LMOTS_SHA256_N24_W8', 24, 8, 26, 0),
];

/** LMS types: RFC 8554 section 5.1 (m = 32) and RFC 9858 section 5 (m = 24), over SHA-256. */
const LMS_TYPES: readonly LmsParameters[] = [
  { type: 5, name: 'LMS_SHA256_M32_H5', m: 32, h: 5 },
  { type: 6, name: 'LMS_SHA256_M32_H10', m: 32, h: 10 },
  { type: 7, name: 'LMS_SHA256_M32_H15', m: 32, h: 15 },
  { type: 8, name: 'LMS_SHA256_M32_H20', m: 32, h: 20 },
  { type: 9, name: 'LMS_SHA256_M32_H25', m: 32, h: 25 },
  { type: 10, name: 'LMS_SHA256_M24_H5', m: 24, h: 5 },
  { type: 11, name: 'LMS_SHA256_M24_H10', m: 24, h: 10 },
  { type: 12, name: 'LMS_SHA256_M24_H15', m: 24, h: 15 },
  { type: 13, name: 'LMS_SHA256_M24_H20', m: 24, h: 20 },
  { type: 14, name: 'LMS_SHA256_M24_H25', m: 24, h: 25 },
];

/** At most eight levels (RFC 8554 section 6). */
export const MOST_LEVELS = 8;

/** The LM-OTS set of a registry number or name, or undefined. */
export function otsParameters(type: number | string): OtsParameters | undefined {
  return OTS_TYPES.find((row) => row.type === type || row.name === type);
}

/** The LMS set of a registry number or name, or undefined. */
export function lmsParameters(type: number | string): LmsParameters | undefined {
  return LMS_TYPES.find((row) => row.type === type || row.name === type);
}

/** Bytes of an LM-OTS signature: type, C, and p chain values (RFC 8554 section 4.5). */
export function otsSignatureLength(set: OtsParameters): number {
  return 4 + set.n * (set.p + 1);
}

/** Bytes of an LMS signature: q, LM-OTS signature, type, path (RFC 8554 section 5.4). */
export function lmsSignatureLength(lms: LmsParameters, set: OtsParameters): number {
  return 8 + otsSignatureLength(set) + lms.m * lms.h;
}

/** Bytes of an LMS public key: types, I, root (RFC 8554 section 5.3). */
export function lmsPublicKeyLength(lms: LmsParameters): number {
  return 24 + lms.m;
}
