import type { CborItem } from '../../cbor/index.ts';
import { CoseError } from '../error.ts';
import { decodeForCose, type Headers, readHeaders } from '../headers.ts';
import { COSE_LIMITS } from '../limits.ts';
import { bytesOrNull, type CoseRecipient, elements, listOf, readRecipient } from '../message.ts';

interface Layer {
  /** The CBOR tag it came with. */
  readonly tag: number | undefined;
  readonly headers: Headers;
  /** `null` where the ciphertext is detached. */
  readonly ciphertext: Uint8Array | null;
  readonly span: { readonly start: number; readonly end: number };
}

/** COSE_Encrypt0, RFC 9052 section 5.2. */
export interface Encrypt0Message extends Layer {
  readonly kind: 'encrypt0';
}

/** COSE_Encrypt, RFC 9052 section 5.1; SUIT_Encryption_Info has this form with nil ciphertext. */
export interface EncryptMessage extends Layer {
  readonly kind: 'encrypt';
  readonly recipients: readonly CoseRecipient[];
}

export type EncryptedMessage = EncryptMessage | Encrypt0Message;

/** What the caller knows of the message beforehand. */
export interface DecodeEncryptedOptions {
  /** Whether an untagged message is refused. Default true. */
  readonly requireTag?: boolean;
  /** The kind expected: what an untagged message is taken for; a tag that says otherwise is refused. */
  readonly kind?: EncryptedMessage['kind'];
  /** Added to spans and error offsets. Default 0. */
  readonly base?: number;
}

/** Recipients read and written. */
export const MAX_RECIPIENTS = COSE_LIMITS.recipients.value;
const MAX_ITEMS = COSE_LIMITS.itemsEach.value * (MAX_RECIPIENTS + 1);

/** CBOR tags (RFC 9052 section 2, table 1). */
export const ENCRYPT_TAG = 96;
export const ENCRYPT0_TAG = 16;

/** Reads one encrypted COSE message, nothing before or after it. Throws `CoseError`. RFC 9052 sections 2 and 5. */
export function decodeEncrypted(bytes: Uint8Array, options: DecodeEncryptedOptions = {}): EncryptedMessage {
  const outer = decodeForCose(bytes, options.base ?? 0, { maxItems: MAX_ITEMS });
  const kind = kindOf(outer, options);
  const fields = elements(outer.type === 'tag' ? outer.item : outer, kind === 'encrypt' ? 4 : 3);
  const layer: Layer = {
    tag: outer.type === 'tag' ? Number(outer.tag) : undefined,
    headers: readHeaders(fields[0]!, fields[1]!),
    ciphertext: bytesOrNull(fields[2]!),
    span: { start: outer.start, end: outer.end },
  };
  return kind === 'encrypt0'
    ? { kind, ...layer }
    : { kind, ...layer, recipients: readRecipients(fields[3]!) };
}

function kindOf(outer: CborItem, options: DecodeEncryptedOptions): EncryptedMessage['kind'] {
  if (outer.type !== 'tag') {
    if ((options.requireTag ?? true) || !options.kind) throw new CoseError('tag-missing', outer.start);
    return options.kind;
  }
  if (outer.tag !== ENCRYPT_TAG && outer.tag !== ENCRYPT0_TAG) {
    throw new CoseError('not-encrypted', outer.start);
  }
  const kind = outer.tag === ENCRYPT_TAG ? 'encrypt' : 'encrypt0';
  if (options.kind && options.kind !== kind) throw new CoseError('kind-mismatch', outer.start);
  return kind;
}

function readRecipients(item: CborItem): CoseRecipient[] {
  const items = listOf(item);
  if (items.length > MAX_RECIPIENTS) throw new CoseError('recipients-too-many', item.start);
  return items.map(readRecipient);
}
