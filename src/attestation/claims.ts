/** Claims of an Entity Attestation Token, as far as this program reads them (RFC 9711 section 4; numbers of section 10.2). */

/** Keys of claims. The last three are private (RFC 8392 section 9.1: below -65536), see docs/deployment-profile.md. */
export const CLAIM = {
  nonce: 10,
  ueid: 256,
  oemid: 258,
  hwmodel: 259,
  dbgstat: 263,
  profile: 265,
  bootcount: 267,
  bootseed: 268,
  swname: 270,
  swversion: 271,
  measurements: 273,
  measres: 274,
  software: -70003,
  boots: -70004,
} as const;

/** Profile of our tokens: CWT tag, COSE_Sign1 or COSE_Mac0, ESP256, Ed25519 or HMAC 256/256 (docs/deployment-profile.md). */
export const TOKEN_PROFILE = 'urn:uuid:53cbd6cb-e1d5-435f-808f-69f9c768074f';

/** dbgstat, by its number (RFC 9711 section 4.2.9). */
export const DEBUG_STATES = [
  'enabled',
  'disabled',
  'disabled-since-boot',
  'disabled-permanently',
  'disabled-fully-and-permanently',
] as const;
export type DebugState = (typeof DEBUG_STATES)[number];

/** Result of a comparison on the unit itself (RFC 9711 section 4.2.17); the number is the position plus one. */
export const COMPARISON_RESULTS = ['success', 'fail', 'not-run', 'absent'] as const;
export type ComparisonResult = (typeof COMPARISON_RESULTS)[number];

/** One measurement by its CoAP content format (RFC 9711 section 4.2.16). */
export interface FormattedMeasurement {
  readonly format: number;
  readonly body: Uint8Array;
}

/** Results of one system that measures on the unit. */
export interface ResultGroup {
  readonly system: string;
  readonly results: readonly { readonly id: string; readonly result: ComparisonResult }[];
}

/** What a unit says that it runs: the manifest of the running slot. */
export interface RunningSoftware {
  /** SHA-256 over the manifest's byte string with header, 32 bytes. */
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
}

/** One entry of the boot log as a token carries it. */
export interface ToldBoot {
  readonly count: number;
  readonly kind: 'start' | 'self-check';
  /** Name of the area that ran from then on; undefined: nothing did. */
  readonly runs: string | undefined;
  readonly sequenceNumber: bigint;
  /** What failed: refusals of slots that were passed over, or the region that had changed. */
  readonly failures: readonly string[];
}

/** A claims set: what is known and was there. Anything else in it is counted and left alone (RFC 9711 section 4). */
export interface EatClaims {
  readonly nonces: readonly Uint8Array[];
  readonly ueid?: Uint8Array | undefined;
  /** A private enterprise number, three bytes of the IEEE, or 16 random ones. */
  readonly oemid?: Uint8Array | number | undefined;
  readonly hwmodel?: Uint8Array | undefined;
  readonly dbgstat?: DebugState | undefined;
  /** A URI, or an object identifier as bytes. */
  readonly profile?: string | Uint8Array | undefined;
  readonly bootcount?: number | undefined;
  readonly bootseed?: Uint8Array | undefined;
  readonly swname?: string | undefined;
  readonly swversion?: string | undefined;
  readonly measurements: readonly FormattedMeasurement[];
  readonly results: readonly ResultGroup[];
  readonly software?: RunningSoftware | undefined;
  readonly boots: readonly ToldBoot[];
  /** Keys that are not read here. */
  readonly others: readonly (number | bigint)[];
}
