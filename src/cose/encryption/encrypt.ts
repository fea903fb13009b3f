import { concat } from '../../bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../cbor/index.ts';
import { startAeadSeal, startAesCtr } from '../../crypto/index.ts';
import { LABEL } from '../labels.ts';
import { type HeaderParameter, requireLabelsOnce } from '../seal.ts';
import { encStructure, encStructure0 } from '../structures.ts';
import type { ContentAlgorithm } from './algorithms.ts';
import { freshIv, freshKeyAndIv, type RandomSource } from './fresh.ts';
import { ENCRYPT_TAG, ENCRYPT0_TAG, MAX_RECIPIENTS } from './message.ts';
import { conveyTo, type Recipient, recipientValue } from './recipient.ts';
import type { SharedContentKey } from './unwrap.ts';

interface Parts {
  readonly protectedHeaders?: readonly HeaderParameter[];
  readonly unprotectedHeaders?: readonly HeaderParameter[];
  /** RFC 9052 section 4.3, for algorithms with a tag. Default none. */
  readonly externalAad?: Uint8Array;
  /** For tests only. Default the system's. */
  readonly random?: RandomSource;
}

/** What is encrypted to recipients. `alg` and IV are added to the headers. */
export interface EncryptParts extends Parts {
  readonly algorithm: ContentAlgorithm;
  readonly recipients: readonly Recipient[];
  /** SuppPubInfo.other: `SUIT_PAYLOAD_ENCRYPTION` for a SUIT payload. Default none. */
  readonly other?: Uint8Array;
}

/** An encryption under way. Pieces may have any length; each gives as many bytes; memory does not grow with the whole. */
export interface RunningEncryption {
  /** The COSE_Encrypt with tag 96 and nil ciphertext: SUIT_Encryption_Info, complete before the first piece. */
  readonly info: Uint8Array;
  update(plaintext: Uint8Array): Uint8Array;
  /** Ends it: what comes after the last piece, an AEAD's 16-byte tag or no bytes. Call once. */
  final(): Uint8Array;
}

/**
 * Starts to encrypt a content that is kept apart from its message, under a content key and an IV that are fresh each time
 * and leave no other way in. RFC 9052 sections 5.1 and 5.3, RFC 9459 section 4, draft-ietf-suit-firmware-encryption.
 * Throws `TypeError` for headers or recipients that make no message, `Error` where a custody or the random source fails.
 */
export async function startEncrypt(parts: EncryptParts): Promise<RunningEncryption> {
  const { layer, begin, forget } = await prepare(parts);
  const cipher = begin();
  forget();
  return { info: encode(new CborTag(ENCRYPT_TAG, layer(null))), ...cipher };
}

/** An encryption that is carried out more than once over one content, and gives the same bytes each time. */
export interface RepeatableEncryption {
  /** As `RunningEncryption.info`. */
  readonly info: Uint8Array;
  /** Begins anew. Only one content may ever leave: two under one key and IV give both away (NIST SP 800-38A appendix B). */
  begin(): Pick<RunningEncryption, 'update' | 'final'>;
  /** Wipes the content key; nothing begins after that. */
  forget(): void;
}

/** As `startEncrypt`, for a content that is too large to be kept between its digest and its place. Throws as that. */
export async function prepareEncrypt(parts: EncryptParts): Promise<RepeatableEncryption> {
  const { layer, begin, forget } = await prepare(parts);
  return { info: encode(new CborTag(ENCRYPT_TAG, layer(null))), begin, forget };
}

/** Encrypts a plaintext in memory: a COSE_Encrypt with tag 96 that carries its ciphertext. Throws as `startEncrypt`. */
export async function sealEncrypt(
  parts: EncryptParts & { readonly plaintext: Uint8Array },
): Promise<Uint8Array> {
  const { layer, begin, forget } = await prepare(parts);
  const cipher = begin();
  forget();
  return encode(new CborTag(ENCRYPT_TAG, layer(wholeOf(cipher, parts.plaintext))));
}

/**
 * Encrypts under a content key that both sides hold: a COSE_Encrypt0 with tag 16 that carries its ciphertext. With random
 * 12-byte IVs one key serves at most 2^32 messages (NIST SP 800-38D section 8.3). Throws `TypeError` for a label given twice.
 */
export function sealEncrypt0(
  shared: SharedContentKey,
  parts: Parts & { readonly plaintext: Uint8Array },
): Uint8Array {
  const { algorithm, key, keyId } = shared;
  const iv = freshIv(shared, parts.random);
  const headers = layOutHeaders(algorithm, iv, parts, keyId ? [[LABEL.kid, keyId]] : []);
  const aad = encStructure0(headers.protectedBytes, parts.externalAad);
  const cipher = startCipher(algorithm, key, iv, aad);
  const elements = [headers.protectedBytes, headers.unprotected, wholeOf(cipher, parts.plaintext)];
  return encode(new CborTag(ENCRYPT0_TAG, elements));
}

type Cipher = Pick<RunningEncryption, 'update' | 'final'>;

async function prepare(parts: EncryptParts): Promise<{
  layer: (ciphertext: Uint8Array | null) => CborValue[];
  begin: () => Cipher;
  forget: () => void;
}> {
  const { algorithm, recipients, other } = parts;
  requireRecipients(recipients);
  const { key, iv } = freshKeyAndIv(algorithm, parts.random);
  const headers = layOutHeaders(algorithm, iv, parts, []);
  const layers: CborValue[] = [];
  for (const each of recipients) layers.push(recipientValue(await conveyTo(each, key, other)));
  const aad = encStructure(headers.protectedBytes, parts.externalAad);
  let forgotten = false;
  return {
    layer: (ciphertext) => [headers.protectedBytes, headers.unprotected, ciphertext, layers],
    begin() {
      if (forgotten) throw new TypeError('the content key was wiped');
      return startCipher(algorithm, key, iv, aad);
    },
    forget() {
      forgotten = true;
      key.fill(0);
    },
  };
}

function requireRecipients(recipients: readonly Recipient[]): void {
  if (recipients.length === 0) throw new TypeError('nobody could decrypt this: name at least one recipient');
  if (recipients.length > MAX_RECIPIENTS) {
    throw new TypeError(
      `${recipients.length} recipients in one message: at most ${MAX_RECIPIENTS}, so split them`,
    );
  }
}

/** alg goes where it is authenticated; with AES-CTR nothing is, so nothing is protected (RFC 9459 section 4). */
export function layOutHeaders(
  algorithm: ContentAlgorithm,
  iv: Uint8Array,
  { protectedHeaders = [], unprotectedHeaders = [], externalAad }: Parts,
  added: readonly HeaderParameter[],
): { protectedBytes: Uint8Array; unprotected: CborMap } {
  const alg: HeaderParameter = [LABEL.alg, algorithm.id];
  const open: HeaderParameter[] = [[LABEL.iv, iv], ...added, ...unprotectedHeaders];
  const all = [alg, ...protectedHeaders, ...open];
  requireLabelsOnce(all);
  if (all.some(([label]) => label === LABEL.partialIv)) throw new TypeError('the IV is whole and fresh here');
  if (algorithm.mode === 'aead') {
    return {
      protectedBytes: encode(new CborMap([alg, ...protectedHeaders])),
      unprotected: new CborMap(open),
    };
  }
  if (protectedHeaders.length > 0 || externalAad) {
    throw new TypeError(`${algorithm.name} authenticates nothing: no header or data can be protected by it`);
  }
  return { protectedBytes: new Uint8Array(0), unprotected: new CborMap([alg, ...open]) };
}

function startCipher(algorithm: ContentAlgorithm, key: Uint8Array, iv: Uint8Array, aad: Uint8Array): Cipher {
  if (algorithm.mode === 'ctr') return { ...startAesCtr(key, iv), final: () => new Uint8Array(0) };
  const cipher = startAeadSeal(algorithm.aead, key, iv, aad);
  return { update: cipher.update, final: cipher.tag };
}

function wholeOf(cipher: Cipher, plaintext: Uint8Array): Uint8Array {
  const body = cipher.update(plaintext);
  return concat(body, cipher.final());
}
