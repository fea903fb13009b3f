import { CborTag, encode, encodeHead } from '../../cbor/index.ts';
import type { AgreementCurve } from '../../crypto/index.ts';
import { agreementCoseKey } from './agreement-key.ts';
import type { AgreementAlgorithm, ContentAlgorithm, WrapAlgorithm } from './algorithms.ts';
import { layOutHeaders } from './encrypt.ts';
import { ENCRYPT_TAG } from './message.ts';
import { agreementLayer, recipientValue, wrapLayer } from './recipient.ts';

/** A recipient as far as its size depends on it. */
export interface RecipientForm {
  readonly algorithm: WrapAlgorithm | AgreementAlgorithm;
  /** Bytes of its kid; `undefined` where it has none. */
  readonly keyIdLength?: number | undefined;
  /** Of its public key. Default P-256. */
  readonly curve?: AgreementCurve;
}

const COORDINATE = new Uint8Array(32);
const WRAP_OVERHEAD = 8; // RFC 3394 section 2.2.1

/**
 * Bytes that one recipient adds to the encryption info, exactly: 38 for A128KW with a kid of 5 bytes and a content key of
 * 16, 109 for ECDH-ES+A128KW on P-256 without kid. Nothing needs to be encrypted for that.
 */
export function recipientSize(
  { algorithm, keyIdLength, curve }: RecipientForm,
  content: ContentAlgorithm,
): number {
  const keyId = keyIdLength === undefined ? undefined : new Uint8Array(keyIdLength);
  const wrapped = new Uint8Array(content.keyLength + WRAP_OVERHEAD);
  const layer =
    algorithm.kind === 'wrap'
      ? wrapLayer({ algorithm, keyId }, wrapped)
      : agreementLayer({ algorithm, keyId }, ephemeralForm(curve), wrapped);
  return encode(recipientValue(layer)).length;
}

/** Bytes of the whole encryption info (tag 96, nil ciphertext, no headers beyond alg and IV). */
export function encryptionInfoSize(recipients: readonly RecipientForm[], content: ContentAlgorithm): number {
  const shell = infoShell(recipients.length, content);
  return recipients.reduce((sum, each) => sum + recipientSize(each, content), shell);
}

function infoShell(recipients: number, content: ContentAlgorithm): number {
  const { protectedBytes, unprotected } = layOutHeaders(content, new Uint8Array(content.ivLength), {}, []);
  const withoutList = encode(new CborTag(ENCRYPT_TAG, [protectedBytes, unprotected, null, []])).length - 1;
  return withoutList + encodeHead(4, recipients).length;
}

function ephemeralForm(curve: AgreementCurve = 'p256') {
  return agreementCoseKey(curve === 'p256' ? { x: COORDINATE, y: COORDINATE } : { x: COORDINATE });
}
