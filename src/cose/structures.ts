import { encode } from '../cbor/index.ts';

const EMPTY = new Uint8Array(0);
const EMPTY_MAP = 0xa0;

/** Sig_structure of a COSE_Sign1: the bytes that are signed (RFC 9052 section 4.4). */
export function signStructure1(
  protectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return encode(['Signature1', asSigned(protectedBytes), externalAad, payload]);
}

/** Sig_structure of one signer of a COSE_Sign (RFC 9052 section 4.4). */
export function signStructure(
  bodyProtectedBytes: Uint8Array,
  signerProtectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return encode([
    'Signature',
    asSigned(bodyProtectedBytes),
    asSigned(signerProtectedBytes),
    externalAad,
    payload,
  ]);
}

/** MAC_structure of a COSE_Mac0: the bytes that are MACed (RFC 9052 section 6.3). */
export function macStructure0(
  protectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return encode(['MAC0', asSigned(protectedBytes), externalAad, payload]);
}

/** MAC_structure of a COSE_Mac (RFC 9052 section 6.3). */
export function macStructure(
  protectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return encode(['MAC', asSigned(protectedBytes), externalAad, payload]);
}

/** Enc_structure of a COSE_Encrypt0: what an AEAD authenticates besides the ciphertext (RFC 9052 section 5.3). */
export function encStructure0(protectedBytes: Uint8Array, externalAad: Uint8Array = EMPTY): Uint8Array {
  return encode(['Encrypt0', asSigned(protectedBytes), externalAad]);
}

/** Enc_structure of the content of a COSE_Encrypt (RFC 9052 section 5.3). */
export function encStructure(protectedBytes: Uint8Array, externalAad: Uint8Array = EMPTY): Uint8Array {
  return encode(['Encrypt', asSigned(protectedBytes), externalAad]);
}

/** An empty map enters as the empty byte string, however it was sent (RFC 9052 section 3). */
function asSigned(protectedBytes: Uint8Array): Uint8Array {
  return protectedBytes.length === 1 && protectedBytes[0] === EMPTY_MAP ? EMPTY : protectedBytes;
}
