import type { CborItem } from '../cbor/index.ts';
import { CoseError } from './error.ts';
import { decodeForCose, type Headers, readHeaders } from './headers.ts';

/** What every COSE message has. */
interface Layer {
  /** The CBOR tag it came with. */
  readonly tag: number | undefined;
  readonly headers: Headers;
  /** `null` where the payload is detached. */
  readonly payload: Uint8Array | null;
  readonly span: { readonly start: number; readonly end: number };
}

/** COSE_Sign1, RFC 9052 section 4.2. */
export interface Sign1Message extends Layer {
  readonly kind: 'sign1';
  readonly signature: Uint8Array;
}

/** One signature of a COSE_Sign, RFC 9052 section 4.1. */
export interface CoseSigner {
  readonly headers: Headers;
  readonly signature: Uint8Array;
}

/** COSE_Sign, RFC 9052 section 4.1. */
export interface SignMessage extends Layer {
  readonly kind: 'sign';
  readonly signers: readonly CoseSigner[];
}

/** COSE_Mac0, RFC 9052 section 6.2. */
export interface Mac0Message extends Layer {
  readonly kind: 'mac0';
  readonly tagBytes: Uint8Array;
}

/** COSE_recipient, RFC 9052 section 5.1: how the key reaches one recipient. */
export interface CoseRecipient {
  readonly headers: Headers;
  readonly ciphertext: Uint8Array | null;
  readonly recipients: readonly CoseRecipient[];
}

/** COSE_Mac, RFC 9052 section 6.1. */
export interface MacMessage extends Layer {
  readonly kind: 'mac';
  readonly tagBytes: Uint8Array;
  readonly recipients: readonly CoseRecipient[];
}

export type CoseMessage = Sign1Message | SignMessage | Mac0Message | MacMessage;
export type CoseKind = CoseMessage['kind'];

/** What the caller knows of the message beforehand. */
export interface DecodeCoseOptions {
  /** Whether an untagged message is refused. Default true. */
  readonly requireTag?: boolean;
  /** The kind expected: what an untagged message is taken for; a tag that says otherwise is refused. */
  readonly kind?: CoseKind;
  /** Added to spans and error offsets. Default 0. */
  readonly base?: number;
}

/** CBOR tags of COSE messages (RFC 9052 section 2, table 1). */
const KINDS: ReadonlyMap<number | bigint, CoseKind> = new Map([
  [18, 'sign1'],
  [98, 'sign'],
  [17, 'mac0'],
  [97, 'mac'],
] as const);
const ENCRYPTED_TAGS: ReadonlySet<number | bigint> = new Set([16, 96]);

/** Reads one COSE message, nothing before or after it. Throws `CoseError`. RFC 9052 sections 2, 4 and 6. */
export function decodeCose(bytes: Uint8Array, options: DecodeCoseOptions = {}): CoseMessage {
  const outer = decodeForCose(bytes, options.base ?? 0);
  const kind = kindOf(outer, options);
  const body = outer.type === 'tag' ? outer.item : outer;
  const fields = elements(body, kind === 'mac' ? 5 : 4);
  const layer: Layer = {
    tag: outer.type === 'tag' ? Number(outer.tag) : undefined,
    headers: readHeaders(fields[0]!, fields[1]!),
    payload: bytesOrNull(fields[2]!),
    span: { start: outer.start, end: outer.end },
  };
  switch (kind) {
    case 'sign1':
      return { kind, ...layer, signature: bytesOf(fields[3]!) };
    case 'sign':
      return { kind, ...layer, signers: listOf(fields[3]!).map(readSigner) };
    case 'mac0':
      return { kind, ...layer, tagBytes: bytesOf(fields[3]!) };
    case 'mac':
      return {
        kind,
        ...layer,
        tagBytes: bytesOf(fields[3]!),
        recipients: listOf(fields[4]!).map(readRecipient),
      };
  }
}

function kindOf(outer: CborItem, options: DecodeCoseOptions): CoseKind {
  if (outer.type !== 'tag') {
    if ((options.requireTag ?? true) || !options.kind) throw new CoseError('tag-missing', outer.start);
    return options.kind;
  }
  const kind = KINDS.get(outer.tag);
  if (!kind) {
    throw new CoseError(ENCRYPTED_TAGS.has(outer.tag) ? 'kind-unsupported' : 'tag-unknown', outer.start);
  }
  if (options.kind && options.kind !== kind) throw new CoseError('kind-mismatch', outer.start);
  return kind;
}

function readSigner(item: CborItem): CoseSigner {
  const fields = elements(item, 3);
  return { headers: readHeaders(fields[0]!, fields[1]!), signature: bytesOf(fields[2]!) };
}

export function readRecipient(item: CborItem): CoseRecipient {
  const nested = item.type === 'array' && item.items.length === 4;
  const fields = elements(item, nested ? 4 : 3);
  return {
    headers: readHeaders(fields[0]!, fields[1]!),
    ciphertext: bytesOrNull(fields[2]!),
    recipients: nested ? listOf(fields[3]!).map(readRecipient) : [],
  };
}

export function elements(item: CborItem, count: number): readonly CborItem[] {
  if (item.type !== 'array' || item.items.length !== count) throw new CoseError('structure', item.start);
  return item.items;
}

export function listOf(item: CborItem): readonly CborItem[] {
  if (item.type !== 'array' || item.items.length === 0) throw new CoseError('structure', item.start);
  return item.items;
}

function bytesOf(item: CborItem): Uint8Array {
  if (item.type !== 'bytes') throw new CoseError('structure', item.start);
  return item.value;
}

export function bytesOrNull(item: CborItem): Uint8Array | null {
  return item.type === 'simple' && item.value === null ? null : bytesOf(item);
}
