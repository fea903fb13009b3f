/** The throwaway authorities: who may seal for the units of the fuzz run. */
import { CborMap, CborTag, type CborValue, encode } from '../../../src/cbor/index.ts';
import { LABEL, macStructure0 } from '../../../src/cose/index.ts';
import { hmacSha256, sha256 } from '../../../src/crypto/index.ts';
import { SECURITY_VERSION_LABEL } from '../../../src/unit/index.ts';
import type { SignerType } from './keys.ts';

/** What a seal is made over beside headers and payload. */
export interface SealOptions {
  readonly externalAad?: Uint8Array | undefined;
  /** The block that it is for, counted from 0: whose key it is, where the headers name none. */
  readonly block?: number;
}

/** One way of sealing that some units take. */
export interface Authority {
  readonly type: SignerType | 'hmac';
  /** Blocks over an encoded digest that are enough for a unit, with this security version where it is not 0. */
  blocks(digest: Uint8Array, securityVersion: number): Uint8Array[];
  /** A message sealed outside that carries `payload` and says what it is (RFC 9052 section 3.1). */
  around(payload: Uint8Array, contentType: number): Uint8Array;
  /** The signature or tag for a block with these protected headers. */
  seal(protectedBytes: Uint8Array, payload: Uint8Array, options?: SealOptions): Uint8Array;
}

export type Header = readonly [CborValue, CborValue];

export const ALGORITHMS = { p256: -9, ed25519: -19, 'hss-lms': -46, hmac: 5 } as const;
export const SIGN1 = 18;
export const MAC0 = 17;

/** Key id and class key of the symmetric scheme. TEST KEY. */
export const FUZZ_CLASS_KEY = { id: Uint8Array.of(0xf0, 0x22), key: sha256(Uint8Array.of(0xf0)) };

const KEY_ID: Header = [LABEL.kid, FUZZ_CLASS_KEY.id];

export const macAuthority: Authority = {
  type: 'hmac',
  seal: (protectedBytes, payload, { externalAad } = {}) =>
    hmacSha256(FUZZ_CLASS_KEY.key, macStructure0(protectedBytes, payload, externalAad)),
  blocks(digest, securityVersion) {
    const headers = protectedHeaders('hmac', versionHeaders(securityVersion));
    return [message(MAC0, headers, [KEY_ID], null, this.seal(headers, digest))];
  },
  around(payload, contentType) {
    const headers = protectedHeaders('hmac', [[LABEL.contentType, contentType]]);
    return message(MAC0, headers, [KEY_ID], payload, this.seal(headers, payload));
  },
};

export function versionHeaders(securityVersion: number): Header[] {
  return securityVersion === 0 ? [] : [[SECURITY_VERSION_LABEL, securityVersion]];
}

export function protectedHeaders(type: Authority['type'], more: readonly Header[]): Uint8Array {
  return encode(new CborMap([[LABEL.alg, ALGORITHMS[type]], ...more]));
}

/** A COSE_Sign1 or COSE_Mac0. */
export function message(
  tag: number,
  headers: Uint8Array,
  open: readonly Header[],
  payload: Uint8Array | null,
  seal: Uint8Array,
): Uint8Array {
  return encode(new CborTag(tag, [headers, new CborMap([...open]), payload, seal]));
}
