import { CborEncoded, CborTag, encode } from '../cbor/index.ts';
import {
  CoseError,
  decodeCose,
  LABEL,
  type Mac0Message,
  type MacKey,
  type SealParts,
  type Sign1Message,
  type Signer,
  sealMac0,
  sealSign1,
} from '../cose/index.ts';
import type { EatClaims } from './claims.ts';
import { AttestationError } from './error.ts';
import { ATTESTATION_LIMITS } from './limits.ts';
import { decodeBounded } from './read-item.ts';
import { writeClaims } from './write-claims.ts';

/** CBOR tag of a CWT; what it tags is a COSE message with a tag of its own (RFC 8392 section 6). */
const CWT_TAG = 61;
/** Header parameter that says what the whole message is (RFC 9596 section 2, number from memory). */
export const TYPE_LABEL = 16;
/** Media type of a token (RFC 9782, from memory); protected, so that nothing else that a unit signs passes for one. */
export const TOKEN_TYPE = 'application/eat+cwt';
const DEVICE_ID_LENGTH = 16;

/**
 * Signs or MACs a claims set: a CWT tag around a tagged COSE_Sign1 or COSE_Mac0 (RFC 9711 section 3; RFC 8392 section 7.1).
 * Type and device identifier (kid) are protected. Throws as `sealSign1` and `sealMac0`.
 */
export async function sealToken(
  claims: EatClaims,
  deviceId: Uint8Array,
  authenticator: Signer | MacKey,
): Promise<Uint8Array> {
  const parts: SealParts = {
    payload: writeClaims(claims),
    attached: true,
    protectedHeaders: [
      [TYPE_LABEL, TOKEN_TYPE],
      [LABEL.kid, deviceId],
    ],
  };
  const message = await ('sign' in authenticator
    ? sealSign1(authenticator, parts)
    : sealMac0(authenticator, parts));
  return encode(new CborTag(CWT_TAG, new CborEncoded(message)));
}

/** A token that was opened and not yet authenticated: only what is needed to find its key. */
export interface SealedToken {
  readonly message: Sign1Message | Mac0Message;
  /** Undefined where the protected kid is no device identifier of 16 bytes. */
  readonly deviceId: Uint8Array | undefined;
  readonly payload: Uint8Array;
}

/** Opens the container of a token and looks no further. Throws `AttestationError` limit, not-cbor, container, type. */
export function openToken(bytes: Uint8Array): SealedToken {
  const outer = decodeBounded(bytes, ATTESTATION_LIMITS.tokenSize, { sortedKeys: false });
  if (outer.type !== 'tag' || outer.tag !== CWT_TAG) {
    throw new AttestationError('container', 0, 'it does not begin with the tag of a CWT (61)');
  }
  const { start, end } = outer.item;
  const message = decodeMessage(bytes.subarray(start, end), start);
  const { headers, payload } = message;
  if (!payload) throw new AttestationError('container', start, 'the message does not carry its claims');
  const type = headers.protectedGet(TYPE_LABEL);
  if (type?.type !== 'text' || type.value !== TOKEN_TYPE) {
    throw new AttestationError('type', start, `the protected type (16) is not ${TOKEN_TYPE}`);
  }
  const kid = headers.protectedGet(LABEL.kid);
  const named = kid?.type === 'bytes' && kid.value.length === DEVICE_ID_LENGTH;
  return { message, payload, deviceId: named ? kid.value : undefined };
}

function decodeMessage(bytes: Uint8Array, base: number): Sign1Message | Mac0Message {
  try {
    const message = decodeCose(bytes, { base });
    if (message.kind === 'sign1' || message.kind === 'mac0') return message;
    throw new AttestationError('container', base, `it holds a COSE ${message.kind}, not a Sign1 or a Mac0`);
  } catch (error) {
    if (!(error instanceof CoseError)) throw error;
    throw new AttestationError('container', error.offset, error.message, { cause: error });
  }
}
