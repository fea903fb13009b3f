import type { KeyType } from '../crypto/index.ts';

/** A signature algorithm of the COSE registry. */
export interface SignatureAlgorithm {
  /** IANA COSE Algorithms registry. */
  readonly id: number;
  readonly name: string;
  readonly keyType: KeyType;
  /** Bytes; absent where each key has its own. */
  readonly signatureLength?: number;
  /** Legacy: checked for the sake of what is in the field, never sealed with. */
  readonly status: 'current' | 'legacy';
  readonly source: string;
}

/** A MAC algorithm of the COSE registry. */
export interface MacAlgorithm {
  readonly id: number;
  readonly name: string;
  /** Bytes; a tag is compared whole, never truncated. */
  readonly tagLength: number;
  /** Bytes. */
  readonly minimumKeyLength: number;
  readonly source: string;
}

const SIGNATURE_ALGORITHMS: readonly SignatureAlgorithm[] = [
  {
    id: -9,
    name: 'ESP256',
    keyType: 'p256',
    signatureLength: 64,
    status: 'current',
    source: 'RFC 9864 section 2.1',
  },
  {
    id: -19,
    name: 'Ed25519',
    keyType: 'ed25519',
    signatureLength: 64,
    status: 'current',
    source: 'RFC 9864 section 2.2',
  },
  {
    id: -46,
    name: 'HSS-LMS',
    keyType: 'hss-lms',
    status: 'current',
    source: 'RFC 8778 section 6.1',
  },
  {
    id: -7,
    name: 'ES256',
    keyType: 'p256',
    signatureLength: 64,
    status: 'legacy',
    source: 'RFC 9053 section 2.1, deprecated by RFC 9864 section 4.2.2',
  },
  {
    id: -8,
    name: 'EdDSA',
    keyType: 'ed25519',
    signatureLength: 64,
    status: 'legacy',
    source: 'RFC 9053 section 2.2, deprecated by RFC 9864 section 4.2.2',
  },
];

const MAC_ALGORITHMS: readonly MacAlgorithm[] = [
  {
    id: 5,
    name: 'HMAC 256/256',
    tagLength: 32,
    minimumKeyLength: 32,
    source: 'RFC 9053 section 3.1',
  },
];

/** The signature algorithm with this registry id or name. A message names it by id only: look its text up nowhere. */
export function signatureAlgorithm(id: number | string): SignatureAlgorithm | undefined {
  return SIGNATURE_ALGORITHMS.find((row) => row.id === id || row.name === id);
}

/** The MAC algorithm with this registry id or name. */
export function macAlgorithm(id: number | string): MacAlgorithm | undefined {
  return MAC_ALGORITHMS.find((row) => row.id === id || row.name === id);
}
