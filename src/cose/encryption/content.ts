import { CoseError, type CoseErrorCode } from '../error.ts';
import type { Headers } from '../headers.ts';
import { LABEL, type Label, labelOf } from '../labels.ts';
import type { CoseRecipient } from '../message.ts';
import { encStructure, encStructure0 } from '../structures.ts';
import { unmetCriticality } from '../verify.ts';
import { type ContentAlgorithm, contentAlgorithm } from './algorithms.ts';
import { decodeEncrypted, type Encrypt0Message, type EncryptMessage } from './message.ts';
import { type EncryptionRefusal, type Refused, refused } from './refusals.ts';
import {
  distributionOf,
  type KeyUnwrapper,
  mayBeFor,
  type RecipientContext,
  type SharedContentKey,
} from './unwrap.ts';

/** All that it takes to decrypt a content. Whoever holds it overwrites `key` when done. */
export interface ContentKey {
  readonly algorithm: ContentAlgorithm;
  readonly key: Uint8Array;
  /** Nonce, or the counter block of byte 0. */
  readonly iv: Uint8Array;
  /** Enc_structure (RFC 9052 section 5.3); without use where the algorithm authenticates nothing. */
  readonly aad: Uint8Array;
}

export type ContentVerdict = { readonly ok: true; readonly content: ContentKey } | Refused;

/** What the application knows and allows. */
export interface OpenOptions {
  /**
   * Algorithms that the content may be encrypted with. Always stated: whoever may turn one algorithm into another, can
   * strip the tag off AES-GCM and have the rest decrypted as AES-CTR.
   */
  readonly algorithms: readonly ContentAlgorithm[];
  /**
   * The one content algorithm that the caller holds its keys for, as `alg` of a COSE_Key says it (RFC 9052 section 7.1): every
   * other is refused. Then, and only then, the alg of an AEAD may stand unprotected. Default: it is protected.
   */
  readonly keyAlgorithm?: ContentAlgorithm;
  /** RFC 9052 section 4.3, where all permitted algorithms have a tag. Default none. */
  readonly externalAad?: Uint8Array;
  /** SuppPubInfo.other: `SUIT_PAYLOAD_ENCRYPTION` for a SUIT payload. Default none. */
  readonly other?: Uint8Array;
  /** Labels that the caller processes besides those of encryption: crit may name them. */
  readonly understood?: readonly Label[];
}

/** Content key, or why there is none: the bytes may not even be an encryption info. */
export type InfoVerdict =
  | ContentVerdict
  | { readonly ok: false; readonly code: CoseErrorCode; readonly detail: string };

/**
 * Reads an encryption info, which is a COSE_Encrypt with tag 96 and nil ciphertext, and finds its content key for one of
 * the keys held. draft-ietf-suit-firmware-encryption section 5. Never throws on data; `TypeError` as for `openEncrypt`.
 */
export function openEncryptionInfo(
  info: Uint8Array,
  unwrappers: readonly KeyUnwrapper[],
  options: OpenOptions,
): InfoVerdict {
  try {
    const message = decodeEncrypted(info, { kind: 'encrypt' }) as EncryptMessage;
    if (message.ciphertext) return refused('ciphertext-attached');
    return openEncrypt(message, unwrappers, options);
  } catch (error) {
    if (!(error instanceof CoseError)) throw error;
    return { ok: false, code: error.code, detail: error.message };
  }
}

/** Finds the content key of a COSE_Encrypt for one of the keys held. RFC 9052 section 5.3; never throws on data. */
export function openEncrypt(
  message: EncryptMessage,
  unwrappers: readonly KeyUnwrapper[],
  options: OpenOptions,
): ContentVerdict {
  const content = readContent(message.headers, options);
  if ('ok' in content) return content;
  const { algorithm, iv } = content;
  const alone = message.recipients.length === 1;
  const found = findKey(message.recipients, unwrappers, { content: algorithm, other: options.other, alone });
  if (!found.ok) return found;
  if (found.key.length !== algorithm.keyLength) return refused('content-key-length');
  const aad = encStructure(message.headers.protectedBytes, options.externalAad);
  return { ok: true, content: { algorithm, key: found.key, iv, aad } };
}

/** Takes the shared key for the content of a COSE_Encrypt0. RFC 9052 section 5.3; never throws on data. */
export function openEncrypt0(
  message: Encrypt0Message,
  shared: SharedContentKey,
  options: OpenOptions,
): ContentVerdict {
  const content = readContent(message.headers, options);
  if ('ok' in content) return content;
  const { algorithm, iv } = content;
  if (algorithm !== shared.algorithm || !mayBeFor(message.headers, shared.keyId)) {
    return refused('recipient-absent');
  }
  const aad = encStructure0(message.headers.protectedBytes, options.externalAad);
  return { ok: true, content: { algorithm, key: new Uint8Array(shared.key), iv, aad } };
}

function readContent(
  headers: Headers,
  options: OpenOptions,
): { algorithm: ContentAlgorithm; iv: Uint8Array } | Refused {
  requireAuthentication(options);
  const unmet = unmetCriticality(headers, withEncryptionLabels(options));
  if (unmet) return refused(unmet);
  const algorithm = algorithmOf(headers, options);
  if (typeof algorithm === 'string') return refused(algorithm);
  const iv = headers.get(LABEL.iv);
  if (iv?.type !== 'bytes') return refused('iv-missing');
  return iv.value.length === algorithm.ivLength ? { algorithm, iv: iv.value } : refused('iv-length');
}

/** Wrong use, whatever the message says. */
function requireAuthentication({ algorithms, externalAad }: OpenOptions): void {
  const blind = externalAad?.length && algorithms.find((each) => each.mode === 'ctr');
  if (blind) throw new TypeError(`${blind.name} authenticates nothing: external data would go unchecked`);
}

function withEncryptionLabels({ understood = [] }: OpenOptions): { understood: readonly Label[] } {
  return { understood: [LABEL.iv, ...understood] };
}

/** alg is protected where anything can be, and nothing is where nothing can be (RFC 9459 section 4). */
function algorithmOf(headers: Headers, options: OpenOptions): ContentAlgorithm | EncryptionRefusal {
  const alg = headers.get(LABEL.alg);
  if (!alg) return 'alg-missing';
  const algorithm = alg.type === 'text' ? undefined : contentAlgorithm(Number(labelOf(alg)));
  if (!algorithm) return 'alg-unsupported';
  if (!options.algorithms.includes(algorithm)) return 'alg-not-permitted';
  if (options.keyAlgorithm && algorithm !== options.keyAlgorithm) return 'alg-not-permitted';
  if (algorithm.mode === 'aead') {
    return options.keyAlgorithm || headers.protectedGet(LABEL.alg) ? algorithm : 'alg-unprotected';
  }
  return headers.protectedBytes.length === 0 ? algorithm : 'protected-not-empty';
}

/** The first key that opens; else the last refusal of a recipient that seemed to be ours. */
function findKey(
  recipients: readonly CoseRecipient[],
  unwrappers: readonly KeyUnwrapper[],
  context: RecipientContext,
) {
  let refusal = refused(
    recipients.some((each) => distributionOf(each.headers)) ? 'recipient-absent' : 'recipient-unsupported',
  );
  for (const recipient of recipients) {
    for (const unwrapper of unwrappers) {
      const outcome = tryRecipient(recipient, unwrapper, context);
      if (outcome?.ok) return outcome;
      if (outcome) refusal = outcome;
    }
  }
  return refusal;
}

function tryRecipient(recipient: CoseRecipient, unwrapper: KeyUnwrapper, context: RecipientContext) {
  const unmet = unmetCriticality(recipient.headers, {});
  return unmet ? refused(unmet) : unwrapper.unwrap(recipient, context);
}
