import { toHex } from '../../bytes/index.ts';
import { type CborItem, CborMap, lookUp } from '../../cbor/index.ts';
import {
  CoseError,
  decodeCose,
  LABEL,
  type Sign1Message,
  type Signer,
  sealSign1,
  verifySign1,
} from '../../cose/index.ts';
import { type PublicKey, sha256 } from '../../crypto/index.ts';

/**
 * What a person signs here, told apart by the content type in the protected header, and from everything else that is
 * signed with COSE: a block of an envelope, a report or a message has another content type or none.
 */
export const STATEMENT = {
  request: 'application/x.fieldseal-sealing-request+cbor',
  approval: 'application/x.fieldseal-approval+cbor',
} as const;

export type StatementKind = keyof typeof STATEMENT;

/** CWT claims in the protected header (RFC 9597 section 2), their labels in RFC 8392 section 4. */
const CWT_CLAIMS = 15;
const EXPIRES = 4;
const ISSUED = 6;
const SECOND = 1000;
/** 31 December 9999: beyond it a date has no RFC 3339 form. */
const LATEST_SECOND = 253_402_300_799;

/** A signed statement, read and not yet verified. */
export interface Statement {
  readonly message: Sign1Message;
  /** SHA-256 of the SubjectPublicKeyInfo of whoever signed, as the protected header names it, hexadecimal. */
  readonly fingerprint: string;
  readonly issued: Date;
  readonly expires: Date;
}

/** When a statement is made and how long it holds. */
export interface Term {
  readonly issued: Date;
  readonly expires: Date;
}

/** Signs `payload` as a statement of one kind: COSE_Sign1, attached or detached; whole seconds. */
export function signStatement(
  key: Signer,
  kind: StatementKind,
  payload: Uint8Array,
  { issued, expires }: Term,
): Promise<Uint8Array> {
  const claims = new CborMap([
    [EXPIRES, Math.floor(expires.getTime() / SECOND)],
    [ISSUED, Math.floor(issued.getTime() / SECOND)],
  ]);
  return sealSign1(key, {
    payload,
    attached: kind === 'request',
    protectedHeaders: [
      [LABEL.contentType, STATEMENT[kind]],
      [LABEL.kid, sha256(key.publicKey)],
      [CWT_CLAIMS, claims],
    ],
  });
}

/** Reads a statement of one kind; undefined for bytes that are none. Only what is protected counts. */
export function readStatement(bytes: Uint8Array, kind: StatementKind): Statement | undefined {
  const message = decodeSign1(bytes);
  if (!message) return undefined;
  const type = message.headers.protectedGet(LABEL.contentType);
  const kid = message.headers.protectedGet(LABEL.kid);
  const claims = message.headers.protectedGet(CWT_CLAIMS);
  if (type?.type !== 'text' || type.value !== STATEMENT[kind]) return undefined;
  if (kid?.type !== 'bytes' || claims?.type !== 'map') return undefined;
  const expires = dateOf(lookUp(claims, EXPIRES));
  const issued = dateOf(lookUp(claims, ISSUED));
  if (!expires || !issued || (message.payload !== null) !== (kind === 'request')) return undefined;
  return { message, fingerprint: toHex(kid.value), issued, expires };
}

/** Whether the key signed the statement over `payload`. */
export function statementVerifies({ message }: Statement, key: PublicKey, payload: Uint8Array): boolean {
  return verifySign1(message, key, payload, { understood: [CWT_CLAIMS] }).ok;
}

function decodeSign1(bytes: Uint8Array): Sign1Message | undefined {
  try {
    const message = decodeCose(bytes, { requireTag: true });
    return message.kind === 'sign1' ? message : undefined;
  } catch (error) {
    if (error instanceof CoseError) return undefined;
    throw error;
  }
}

function dateOf(item: CborItem | undefined): Date | undefined {
  if (item?.type !== 'uint' || typeof item.value !== 'number' || item.value > LATEST_SECOND) return undefined;
  return new Date(item.value * SECOND);
}
