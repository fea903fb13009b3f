import type { AeadName } from '../../crypto/index.ts';

interface Content {
  /** IANA COSE Algorithms registry. */
  readonly id: number;
  readonly name: string;
  /** Bytes, as are the other lengths. */
  readonly keyLength: number;
  readonly ivLength: number;
  /** What the ciphertext is longer than the plaintext. */
  readonly tagLength: number;
  readonly source: string;
}

/** A content encryption algorithm of the COSE registry: with a tag that betrays every change, or without. */
export type ContentAlgorithm = Content &
  ({ readonly mode: 'aead'; readonly aead: AeadName } | { readonly mode: 'ctr' });

/** One that authenticates what it encrypts. */
export type AeadAlgorithm = ContentAlgorithm & { readonly mode: 'aead' };

interface Distribution {
  /** IANA COSE Algorithms registry. */
  readonly id: number;
  readonly name: string;
  readonly source: string;
}

/** The content key is wrapped under a key that both sides hold. */
export interface WrapAlgorithm extends Distribution {
  readonly kind: 'wrap';
  /** Bytes. */
  readonly kekLength: number;
}

/** The content key is wrapped under a key derived from a fresh key pair and the recipient's public key. */
export interface AgreementAlgorithm extends Distribution {
  readonly kind: 'agreement';
  readonly wrap: WrapAlgorithm;
}

/** Both sides hold the content key already. */
export interface DirectAlgorithm extends Distribution {
  readonly kind: 'direct';
}

/** A way in which the content key reaches a recipient. */
export type KeyDistribution = WrapAlgorithm | AgreementAlgorithm | DirectAlgorithm;

const gcm = (bits: 128 | 192 | 256, id: number): ContentAlgorithm => ({
  id,
  name: `A${bits}GCM`,
  mode: 'aead',
  aead: `aes-${bits}-gcm`,
  keyLength: bits / 8,
  ivLength: 12,
  tagLength: 16,
  source: 'RFC 9053 section 4.1',
});

const ctr = (bits: 128 | 256, id: number): ContentAlgorithm => ({
  id,
  name: `A${bits}CTR`,
  mode: 'ctr',
  keyLength: bits / 8,
  ivLength: 16,
  tagLength: 0,
  source: 'RFC 9459 section 4',
});

const wrap = (bits: 128 | 192 | 256, id: number): WrapAlgorithm => ({
  id,
  name: `A${bits}KW`,
  kind: 'wrap',
  kekLength: bits / 8,
  source: 'RFC 9053 section 6.2.1',
});

const agreement = (underlying: WrapAlgorithm, id: number): AgreementAlgorithm => ({
  id,
  name: `ECDH-ES+${underlying.name}`,
  kind: 'agreement',
  wrap: underlying,
  source: 'RFC 9053 section 6.4.1',
});

const CONTENT_ALGORITHMS: readonly ContentAlgorithm[] = [
  ctr(128, -65534),
  ctr(256, -65532),
  gcm(128, 1),
  gcm(192, 2),
  gcm(256, 3),
  {
    id: 24,
    name: 'ChaCha20/Poly1305',
    mode: 'aead',
    aead: 'chacha20-poly1305',
    keyLength: 32,
    ivLength: 12,
    tagLength: 16,
    source: 'RFC 9053 section 4.3',
  },
];

const A128KW = wrap(128, -3);
const A192KW = wrap(192, -4);
const A256KW = wrap(256, -5);

const KEY_DISTRIBUTIONS: readonly KeyDistribution[] = [
  A128KW,
  A192KW,
  A256KW,
  agreement(A128KW, -29),
  agreement(A192KW, -30),
  agreement(A256KW, -31),
  { id: -6, name: 'direct', kind: 'direct', source: 'RFC 9053 section 6.1.1' },
];

/** The content encryption algorithm with this registry id or name. A message names it by id only. */
export function contentAlgorithm(id: number | string): ContentAlgorithm | undefined {
  return CONTENT_ALGORITHMS.find((row) => row.id === id || row.name === id);
}

/** The way to distribute a content key with this registry id or name. A message names it by id only. */
export function keyDistribution(id: number | string): KeyDistribution | undefined {
  return KEY_DISTRIBUTIONS.find((row) => row.id === id || row.name === id);
}
