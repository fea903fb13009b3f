import { CoseError, type CoseErrorCode } from '../error.ts';
import { LABEL } from '../labels.ts';
import { decodeCose, type Mac0Message, type Sign1Message } from '../message.ts';
import {
  type HeaderParameter,
  type MacKey,
  type SealParts,
  type Signer,
  sealMac0,
  sealSign1,
} from '../seal.ts';
import type { CoseRefusal, CoseVerdict } from '../verify.ts';
import type { AeadAlgorithm } from './algorithms.ts';
import { type ContentVerdict, openEncrypt, openEncrypt0 } from './content.ts';
import { decryptWhole } from './decrypt.ts';
import { type EncryptParts, sealEncrypt, sealEncrypt0 } from './encrypt.ts';
import { decodeEncrypted, type EncryptedMessage } from './message.ts';
import { type EncryptionRefusal, refused } from './refusals.ts';
import type { KeyUnwrapper, SharedContentKey } from './unwrap.ts';

/** CoAP Content-Formats of COSE messages, which the protected content type names (RFC 9052 section 11.4). */
const CONTENT_FORMAT = { encrypt: 96, encrypt0: 16 } as const;

type Authenticator = Signer | MacKey;

/** A message to be encrypted, then signed or MACed. */
export interface MessageParts {
  readonly plaintext: Uint8Array;
  /** What the plaintext is (label 3): a media type, or a CoAP content format. Protected by the encryption. */
  readonly contentType?: string | number;
  /** Fresh content key for recipients, or one that both sides hold. */
  readonly encryption:
    | (Pick<EncryptParts, 'recipients' | 'random'> & { readonly algorithm: AeadAlgorithm })
    | { readonly shared: SharedContentKey };
  /** Signs or MACs what was encrypted. */
  readonly authenticator: Authenticator;
  /** Headers of the signature or MAC, a certificate chain for instance. */
  readonly protectedHeaders?: readonly HeaderParameter[];
  readonly unprotectedHeaders?: readonly HeaderParameter[];
}

/**
 * Encrypts a message and authenticates the result: a COSE_Sign1 or COSE_Mac0 that carries a whole COSE_Encrypt or
 * COSE_Encrypt0 as payload and says so in its protected content type. Throws as `sealEncrypt` and `sealSign1`.
 */
export async function encryptMessage(parts: MessageParts): Promise<Uint8Array> {
  const { authenticator, encryption, protectedHeaders = [], unprotectedHeaders = [] } = parts;
  const inner = await sealContent(parts);
  const format = 'shared' in encryption ? CONTENT_FORMAT.encrypt0 : CONTENT_FORMAT.encrypt;
  const outer: SealParts = {
    payload: inner,
    attached: true,
    protectedHeaders: [[LABEL.contentType, format], ...protectedHeaders],
    unprotectedHeaders,
  };
  return 'sign' in authenticator ? sealSign1(authenticator, outer) : sealMac0(authenticator, outer);
}

/** Judges the signature or MAC of a message over its payload, with the keys and rules of the caller. */
export type AuthenticityCheck = (
  message: Sign1Message | Mac0Message,
  payload: Uint8Array,
) => CoseVerdict<unknown>;

/** Whose messages are taken, and how they are decrypted. */
export interface OpenMessageOptions {
  readonly authenticate: AuthenticityCheck;
  /** For a COSE_Encrypt. */
  readonly unwrappers?: readonly KeyUnwrapper[];
  /** For a COSE_Encrypt0. */
  readonly shared?: SharedContentKey;
  /** Content algorithms that are permitted: those with a tag. */
  readonly algorithms: readonly AeadAlgorithm[];
}

const REFUSALS = {
  'not-authenticated': 'the message is neither a COSE_Sign1 nor a COSE_Mac0: anyone may have encrypted it',
  'payload-detached': 'the message does not carry the encrypted message that it authenticates',
  'content-type-differs':
    'the protected content type does not say that an encrypted message is carried, or says another kind',
  'content-key-absent': 'no content key is held for messages of this kind',
} as const;

type MessageCode = keyof typeof REFUSALS | CoseErrorCode | CoseRefusal | EncryptionRefusal;

/** The outcome: a plaintext that is authentic, or the step at which it ended. Nothing is decrypted before authenticity. */
export type MessageVerdict =
  | { readonly ok: true; readonly plaintext: Uint8Array; readonly contentType: string | number | undefined }
  | {
      readonly ok: false;
      readonly step: 'message' | 'authenticity' | 'decryption';
      readonly code: MessageCode;
      readonly detail: string;
    };

type Step = Extract<MessageVerdict, { ok: false }>['step'];

/**
 * Opens what `encryptMessage` makes: first the signature or MAC, and only then the decryption, so that what a stranger
 * encrypted with the recipient's public key is refused unread. Never throws on data.
 */
export function openMessage(bytes: Uint8Array, options: OpenMessageOptions): MessageVerdict {
  let step: Step = 'message';
  try {
    const outer = decodeCose(bytes);
    if (outer.kind !== 'sign1' && outer.kind !== 'mac0') return ended(step, 'not-authenticated');
    if (!outer.payload) return ended(step, 'payload-detached');
    step = 'authenticity';
    const verdict = options.authenticate(outer, outer.payload);
    if (!verdict.ok) return { step, ...verdict };
    step = 'decryption';
    return decryptCarried(outer, outer.payload, options);
  } catch (error) {
    if (!(error instanceof CoseError)) throw error;
    return { ok: false, step, code: error.code, detail: error.message };
  }
}

function decryptCarried(
  outer: Sign1Message | Mac0Message,
  payload: Uint8Array,
  options: OpenMessageOptions,
): MessageVerdict {
  const step = 'decryption';
  const inner = decodeEncrypted(payload);
  const format = outer.headers.protectedGet(LABEL.contentType);
  if (format?.type !== 'uint' || format.value !== CONTENT_FORMAT[inner.kind]) {
    return ended(step, 'content-type-differs');
  }
  if (!inner.ciphertext) return { step, ...refused('ciphertext-detached') };
  const opened = openWith(inner, options);
  if (!opened) return ended(step, 'content-key-absent');
  if (!opened.ok) return { step, ...opened };
  const outcome = decryptWhole(opened.content, inner.ciphertext);
  opened.content.key.fill(0);
  if (!outcome.ok) return { step, ...outcome };
  return { ok: true, plaintext: outcome.plaintext, contentType: contentTypeOf(inner) };
}

function openWith(inner: EncryptedMessage, options: OpenMessageOptions): ContentVerdict | undefined {
  const { algorithms, shared, unwrappers } = options;
  if (inner.kind === 'encrypt') return unwrappers && openEncrypt(inner, unwrappers, { algorithms });
  return shared && openEncrypt0(inner, shared, { algorithms });
}

function ended(step: Step, code: keyof typeof REFUSALS): MessageVerdict {
  return { ok: false, step, code, detail: REFUSALS[code] };
}

function contentTypeOf({ headers }: EncryptedMessage): string | number | undefined {
  const item = headers.protectedGet(LABEL.contentType);
  if (item?.type === 'text') return item.value;
  return item?.type === 'uint' ? Number(item.value) : undefined;
}

async function sealContent({ plaintext, contentType, encryption }: MessageParts): Promise<Uint8Array> {
  const protectedHeaders: HeaderParameter[] =
    contentType === undefined ? [] : [[LABEL.contentType, contentType]];
  if ('shared' in encryption) return sealEncrypt0(encryption.shared, { plaintext, protectedHeaders });
  return sealEncrypt({ ...encryption, plaintext, protectedHeaders });
}
