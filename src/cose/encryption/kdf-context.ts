import { fromUtf8 } from '../../bytes/index.ts';
import { type CborItem, type CborValue, encode } from '../../cbor/index.ts';
import { hkdfSha256 } from '../../crypto/index.ts';
import type { Headers } from '../headers.ts';
import { COSE_LIMITS } from '../limits.ts';
import type { AgreementAlgorithm } from './algorithms.ts';

/**
 * SuppPubInfo.other of every key agreed for a SUIT payload: a byte string (draft-ietf-suit-firmware-encryption
 * section 5.2.4). Plain COSE messages have none.
 */
export const SUIT_PAYLOAD_ENCRYPTION = fromUtf8('SUIT Payload Encryption');

/** Labels of the headers that enter a key derivation (RFC 9053 sections 5.1, 5.2 and 6.3.1). */
export const AGREEMENT_LABEL = { ephemeralKey: -1, salt: -20 } as const;
const PARTY_U = [-21, -22, -23];
const PARTY_V = [-24, -25, -26];

const NO_SALT = new Uint8Array(0);

/** The recipient layer that a key is derived for. */
export interface Derivation {
  readonly algorithm: AgreementAlgorithm;
  readonly headers: Headers;
  /** SuppPubInfo.other. */
  readonly other?: Uint8Array | undefined;
}

/** COSE_KDF_Context, encoded: what binds the derived key to its use (RFC 9053 section 5.2). */
export function kdfContext({ algorithm, headers, other }: Derivation): Uint8Array {
  const { id, kekLength } = algorithm.wrap;
  const publicInfo: CborValue[] = [8 * kekLength, headers.protectedBytes];
  if (other) publicInfo.push(other);
  return encode([id, party(headers, PARTY_U), party(headers, PARTY_V), publicInfo]);
}

/** The key-encryption key out of an agreed secret, where `isDerivable`: HKDF with SHA-256 (RFC 9053 sections 5.1 and 6.4.1). */
export function deriveKek(secret: Uint8Array, derivation: Derivation): Uint8Array {
  const salt = bytesAt(derivation.headers, AGREEMENT_LABEL.salt) ?? NO_SALT;
  return hkdfSha256(secret, salt, kdfContext(derivation), derivation.algorithm.wrap.kekLength);
}

/**
 * Whether a key can be derived: the headers that enter have the types they must (RFC 9053 tables 9 and 10), and their context is no
 * longer than what is taken.
 */
export function isDerivable(derivation: Derivation): boolean {
  const { headers } = derivation;
  const hasTypes = [AGREEMENT_LABEL.salt, ...PARTY_U, ...PARTY_V].every((label) => {
    const item = headers.get(label);
    const mayCount = label === PARTY_U[1] || label === PARTY_V[1];
    return !item || item.type === 'bytes' || (mayCount && simpleValue(item) !== null);
  });
  return hasTypes && kdfContext(derivation).length <= COSE_LIMITS.derivationContext.value;
}

/** PartyInfo: identity, nonce, other; nil where the message does not give them. */
function party(headers: Headers, labels: readonly number[]): CborValue {
  return labels.map((label) => simpleValue(headers.get(label)));
}

/** Identity and other are byte strings, a nonce may be an integer. */
function simpleValue(item: CborItem | undefined): CborValue {
  return item?.type === 'bytes' || item?.type === 'uint' || item?.type === 'nint' ? item.value : null;
}

function bytesAt(headers: Headers, label: number): Uint8Array | undefined {
  const item = headers.get(label);
  return item?.type === 'bytes' ? item.value : undefined;
}
