import { type CborBytes, CborMap, type CborValue, decode, encode } from '../../cbor/index.ts';
import {
  type AgreementPublicKey,
  agreeSecret,
  generateAgreementKey,
  publicCoordinates,
  wrapKeyData,
} from '../../crypto/index.ts';
import { readHeaders } from '../headers.ts';
import { LABEL } from '../labels.ts';
import type { HeaderParameter } from '../seal.ts';
import { agreementCoseKey } from './agreement-key.ts';
import { type AgreementAlgorithm, keyDistribution, type WrapAlgorithm } from './algorithms.ts';
import { AGREEMENT_LABEL, deriveKek } from './kdf-context.ts';

/** A recipient that holds the same key-encryption key, which may be in whatever custody. */
export interface WrapRecipient {
  readonly algorithm: WrapAlgorithm;
  /** By which the recipient finds its key (kid, RFC 9052 section 3.1). */
  readonly keyId?: Uint8Array | undefined;
  /** The content key wrapped under the key-encryption key (RFC 3394): 8 bytes longer. */
  wrap(contentKey: Uint8Array): Promise<Uint8Array>;
}

/** A recipient known by its public key. */
export interface AgreementRecipient {
  readonly algorithm: AgreementAlgorithm;
  readonly keyId?: Uint8Array | undefined;
  readonly publicKey: AgreementPublicKey;
}

/** Whom a content key is sent to. */
export type Recipient = WrapRecipient | AgreementRecipient;

/** A key-encryption key held in memory: A128KW, A192KW or A256KW by its length. Throws `TypeError` for other lengths. */
export function heldWrappingKey(kek: Uint8Array, keyId?: Uint8Array): WrapRecipient {
  const algorithm = wrapAlgorithmFor(kek);
  return { algorithm, keyId, wrap: async (contentKey) => wrapKeyData(kek, contentKey) };
}

/** A public key as recipient of ECDH-ES+A128KW (-29), or of the algorithm given. */
export function publicKeyRecipient(
  publicKey: AgreementPublicKey,
  keyId?: Uint8Array,
  algorithm = keyDistribution(-29) as AgreementAlgorithm,
): AgreementRecipient {
  return { algorithm, publicKey, keyId };
}

/** The key wrap algorithm that a key-encryption key is for. Throws `TypeError` where its length fits none. */
export function wrapAlgorithmFor(kek: Uint8Array): WrapAlgorithm {
  const row = [-3, -4, -5].map((id) => keyDistribution(id) as WrapAlgorithm);
  const algorithm = row.find(({ kekLength }) => kekLength === kek.length);
  if (!algorithm) throw new TypeError(`a key-encryption key has 16, 24 or 32 bytes, not ${kek.length}`);
  return algorithm;
}

/** One COSE_recipient to be encoded. */
export interface RecipientLayer {
  readonly protectedBytes: Uint8Array;
  readonly unprotected: readonly HeaderParameter[];
  readonly ciphertext: Uint8Array;
}

/** The COSE_recipient that conveys the content key (RFC 9053 sections 6.2.1 and 6.4.1). `other`: SuppPubInfo.other. */
export async function conveyTo(
  recipient: Recipient,
  contentKey: Uint8Array,
  other?: Uint8Array,
): Promise<RecipientLayer> {
  return 'wrap' in recipient
    ? conveyWrapped(recipient, contentKey)
    : conveyAgreed(recipient, contentKey, other);
}

async function conveyWrapped(recipient: WrapRecipient, contentKey: Uint8Array): Promise<RecipientLayer> {
  const layer = wrapLayer(recipient, await recipient.wrap(contentKey));
  if (layer.ciphertext.length !== contentKey.length + 8) {
    throw new Error(
      `the key-encryption key returned ${layer.ciphertext.length} bytes where ${recipient.algorithm.name} has ` +
        `${contentKey.length + 8}: nothing was encrypted; check the custody of the key`,
    );
  }
  return layer;
}

function conveyAgreed(
  { algorithm, publicKey, keyId }: AgreementRecipient,
  contentKey: Uint8Array,
  other: Uint8Array | undefined,
): RecipientLayer {
  const ephemeral = generateAgreementKey(publicKey.curve);
  const secret = agreeSecret(ephemeral, publicKey);
  if (!secret) throw new TypeError('no secret can be agreed with the public key of a recipient: replace it');
  const coseKey = agreementCoseKey(publicCoordinates(ephemeral.publicKey));
  const draft = agreementLayer({ algorithm, keyId }, coseKey, new Uint8Array(0));
  const kek = deriveKek(secret, { algorithm, headers: headersOf(draft), other });
  const ciphertext = wrapKeyData(kek, contentKey);
  secret.fill(0);
  kek.fill(0);
  return { ...draft, ciphertext };
}

/** alg stands unprotected: key wrap authenticates no header (RFC 9053 section 6.2.1). */
export function wrapLayer(
  { algorithm, keyId }: Pick<WrapRecipient, 'algorithm' | 'keyId'>,
  ciphertext: Uint8Array,
): RecipientLayer {
  return {
    protectedBytes: new Uint8Array(0),
    unprotected: [[LABEL.alg, algorithm.id], ...keyIdHeader(keyId)],
    ciphertext,
  };
}

/** alg stands protected, and so enters the derivation (RFC 9053 section 5.2). */
export function agreementLayer(
  { algorithm, keyId }: Pick<AgreementRecipient, 'algorithm' | 'keyId'>,
  ephemeralKey: CborMap,
  ciphertext: Uint8Array,
): RecipientLayer {
  return {
    protectedBytes: encode(new CborMap([[LABEL.alg, algorithm.id]])),
    unprotected: [[AGREEMENT_LABEL.ephemeralKey, ephemeralKey], ...keyIdHeader(keyId)],
    ciphertext,
  };
}

/** The layer as it enters the message. */
export function recipientValue({ protectedBytes, unprotected, ciphertext }: RecipientLayer): CborValue {
  return [protectedBytes, new CborMap(unprotected), ciphertext];
}

function keyIdHeader(keyId: Uint8Array | undefined): HeaderParameter[] {
  return keyId ? [[LABEL.kid, keyId]] : [];
}

/** The headers as a reader will see them, so that both sides derive from the same. */
function headersOf({ protectedBytes, unprotected }: RecipientLayer) {
  return readHeaders(decode(encode(protectedBytes)) as CborBytes, decode(encode(new CborMap(unprotected))));
}
