/** How a class of units authenticates what it installs. */
export type Scheme = 'asymmetric' | 'symmetric';

/** The part of an algorithm profile that a unit's decision depends on. */
export interface UnitProfile {
  readonly name: string;
  readonly scheme: Scheme;
  /** The one COSE algorithm that the unit takes; the message never chooses (draft-ietf-suit-mti section 5.2). */
  readonly algorithm: number;
  /** The COSE algorithm by which a content key reaches the unit. */
  readonly keyDistribution: number;
  /** The one COSE algorithm of encrypted images. */
  readonly content: number;
  readonly source: string;
}

/** COSE algorithm of the digest of every profile: SHA-256. */
export const DIGEST_ALGORITHM = -16;

/** Profiles a unit can be given, by their names in draft-ietf-suit-mti. */
export const UNIT_PROFILES: readonly UnitProfile[] = [
  {
    name: 'suit-sha256-hmac-a128kw-a128ctr',
    scheme: 'symmetric',
    algorithm: 5,
    keyDistribution: -3,
    content: -65534,
    source: 'draft-ietf-suit-mti 3.1',
  },
  {
    name: 'suit-sha256-esp256-ecdh-a128ctr',
    scheme: 'asymmetric',
    algorithm: -9,
    keyDistribution: -29,
    content: -65534,
    source: 'draft-ietf-suit-mti 3.2',
  },
  {
    name: 'suit-sha256-ed25519-ecdh-a128ctr',
    scheme: 'asymmetric',
    algorithm: -19,
    keyDistribution: -29,
    content: -65534,
    source: 'draft-ietf-suit-mti 3.3',
  },
  {
    name: 'suit-sha256-esp256-ecdh-a128gcm',
    scheme: 'asymmetric',
    algorithm: -9,
    keyDistribution: -29,
    content: 1,
    source: 'draft-ietf-suit-mti 3.4',
  },
  {
    name: 'suit-sha256-ed25519-ecdh-chacha-poly',
    scheme: 'asymmetric',
    algorithm: -19,
    keyDistribution: -29,
    content: 24,
    source: 'draft-ietf-suit-mti 3.5',
  },
  {
    name: 'suit-sha256-hsslms-a256kw-a256ctr',
    scheme: 'asymmetric',
    algorithm: -46,
    keyDistribution: -5,
    content: -65532,
    source: 'draft-ietf-suit-mti 3.6',
  },
];

/** The profile of that standard name, or undefined. */
export function unitProfile(name: string): UnitProfile | undefined {
  return UNIT_PROFILES.find((profile) => profile.name === name);
}
