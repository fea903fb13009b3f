import { type LimitTable, limitValues } from '../bytes/index.ts';

/** Bounds on challenges and tokens that a stranger sends: each is far above what a unit has to say. */
export const ATTESTATION_LIMIT_TABLE = {
  challengeSize: { value: 1024, unit: 'bytes', reason: 'of a challenge: it has about a hundred' },
  tokenSize: {
    value: 16_384,
    unit: 'bytes',
    reason: 'of a token: it has a few hundred, and travels over thin links',
  },
  items: { value: 2048, unit: 'items', reason: 'of CBOR in a claims set: a token of ours has about fifty' },
  nonces: {
    value: 8,
    unit: 'nonces',
    reason: 'in one token; ours has one (RFC 9711 section 4.1 allows more)',
  },
  measurements: { value: 16, unit: 'measurements', reason: 'in one token; ours has one' },
  results: { value: 64, unit: 'results', reason: 'of self-checks in one token, groups and entries each' },
  boots: { value: 16, unit: 'records', reason: 'of the boot log in one token' },
  textSize: { value: 256, unit: 'characters', reason: 'of one text: names and versions are short' },
} as const satisfies LimitTable;

export const ATTESTATION_LIMITS = limitValues(ATTESTATION_LIMIT_TABLE);

/** Bytes of a nonce (RFC 9711 section 4.1: 8 to 64, 64 bits of entropy at least). */
export const NONCE_BYTES = { least: 8, most: 64, usual: 32 } as const;
