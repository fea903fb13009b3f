import { equal } from '../../bytes/index.ts';
import { type AgreementPrivateKey, agreeSecret, unwrapKeyData } from '../../crypto/index.ts';
import type { Headers } from '../headers.ts';
import { LABEL, labelOf } from '../labels.ts';
import type { CoseRecipient } from '../message.ts';
import { readEphemeralKey } from './agreement-key.ts';
import {
  type AeadAlgorithm,
  type AgreementAlgorithm,
  type ContentAlgorithm,
  type KeyDistribution,
  keyDistribution,
} from './algorithms.ts';
import { AGREEMENT_LABEL, deriveKek, isDerivable } from './kdf-context.ts';
import { wrapAlgorithmFor } from './recipient.ts';
import { type Refused, refused } from './refusals.ts';

/** What surrounds a recipient. */
export interface RecipientContext {
  /** What the content key is for. */
  readonly content: ContentAlgorithm;
  /** SuppPubInfo.other of a key derivation. */
  readonly other?: Uint8Array | undefined;
  /** Whether the message has this recipient only. */
  readonly alone: boolean;
}

/** A content key, to be overwritten after use, or why there is none. */
export type Unwrapped = { readonly ok: true; readonly key: Uint8Array } | Refused;

/** Something that gets content keys out of recipients, and keeps what it needs for that to itself. */
export interface KeyUnwrapper {
  /** `undefined`: the recipient is for another key or another algorithm. Never throws on data. */
  unwrap(recipient: CoseRecipient, context: RecipientContext): Unwrapped | undefined;
}

/** A content key that both sides hold already, bound to the one algorithm it is for. */
export interface SharedContentKey {
  readonly algorithm: AeadAlgorithm;
  readonly keyId?: Uint8Array | undefined;
  readonly key: Uint8Array;
}

/**
 * Unwraps with an AES key-encryption key of 16, 24 or 32 bytes, by kid, or by trial where message or key has none. Takes
 * the one algorithm of its length only (RFC 9053 section 6.2.1). Throws `TypeError` for a key of another length.
 */
export function wrappingKeyUnwrapper(kek: Uint8Array, keyId?: Uint8Array): KeyUnwrapper {
  const algorithm = wrapAlgorithmFor(kek);
  return {
    unwrap(recipient) {
      if (distributionOf(recipient.headers) !== algorithm) return undefined;
      if (!mayBeFor(recipient.headers, keyId)) return undefined;
      if (!isBare(recipient) || !recipient.ciphertext) return refused('recipient-malformed');
      return opened(unwrapKeyData(kek, recipient.ciphertext));
    },
  };
}

/**
 * Unwraps with a private key, by kid, or by trial where message or key has none: ECDH-ES with A128KW, A192KW or A256KW
 * (RFC 9053 section 6.4.1).
 */
export function privateKeyUnwrapper(own: AgreementPrivateKey, keyId?: Uint8Array): KeyUnwrapper {
  return {
    unwrap(recipient, { other }) {
      const algorithm = distributionOf(recipient.headers);
      if (algorithm?.kind !== 'agreement' || !mayBeFor(recipient.headers, keyId)) return undefined;
      return agreeAndUnwrap(own, algorithm, recipient, other);
    },
  };
}

/** Takes a content key held already for that of a message whose one recipient is direct (RFC 9053 section 6.1.1). */
export function sharedKeyUnwrapper(shared: SharedContentKey): KeyUnwrapper {
  return {
    unwrap(recipient, { content, alone }) {
      if (distributionOf(recipient.headers)?.kind !== 'direct') return undefined;
      if (content !== shared.algorithm || !mayBeFor(recipient.headers, shared.keyId)) return undefined;
      if (!alone) return refused('direct-not-alone');
      const conveysNothing = recipient.ciphertext?.length === 0 && isBare(recipient);
      return conveysNothing ? { ok: true, key: new Uint8Array(shared.key) } : refused('recipient-malformed');
    },
  };
}

/** The algorithm of a recipient; a text never names one of the tables. */
export function distributionOf(headers: Headers): KeyDistribution | undefined {
  const alg = headers.get(LABEL.alg);
  return alg && alg.type !== 'text' ? keyDistribution(Number(labelOf(alg))) : undefined;
}

/** kid is a hint: where either side has none, the key is tried (RFC 9052 section 3.1). */
export function mayBeFor(headers: Headers, keyId: Uint8Array | undefined): boolean {
  const kid = headers.get(LABEL.kid);
  return !kid || !keyId || (kid.type === 'bytes' && equal(kid.value, keyId));
}

function agreeAndUnwrap(
  own: AgreementPrivateKey,
  algorithm: AgreementAlgorithm,
  recipient: CoseRecipient,
  other: Uint8Array | undefined,
): Unwrapped {
  const { headers, ciphertext } = recipient;
  const derivation = { algorithm, headers, other };
  const isWhole = headers.protectedGet(LABEL.alg) && ciphertext && recipient.recipients.length === 0;
  if (!isWhole || !isDerivable(derivation)) return refused('recipient-malformed');
  const ephemeral = readEphemeralKey(headers.get(AGREEMENT_LABEL.ephemeralKey), algorithm);
  const secret = ephemeral && agreeSecret(own, ephemeral);
  if (!secret) return refused('ephemeral-key-wrong');
  const kek = deriveKek(secret, derivation);
  const key = unwrapKeyData(kek, ciphertext);
  secret.fill(0);
  kek.fill(0);
  return opened(key);
}

function opened(key: Uint8Array | undefined): Unwrapped {
  return key ? { ok: true, key } : refused('content-key-wrong');
}

/** Nothing protected, nothing nested: neither direct use nor key wrap has a place for it. */
function isBare({ headers, recipients }: CoseRecipient): boolean {
  return recipients.length === 0 && headers.entries.every((entry) => !entry.isProtected);
}
