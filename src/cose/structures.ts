import { encode, headLength, writeHead } from '../cbor/index.ts';

const EMPTY = new Uint8Array(0);
const EMPTY_MAP = 0xa0;

const SIGNATURE_1 = encode('Signature1');
const SIGNATURE = encode('Signature');
const MAC_0 = encode('MAC0');
const MAC = encode('MAC');
const ENCRYPT_0 = encode('Encrypt0');
const ENCRYPT = encode('Encrypt');

/** Sig_structure of a COSE_Sign1: the bytes that are signed (RFC 9052 section 4.4). */
export function signStructure1(
  protectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return structure(SIGNATURE_1, asSigned(protectedBytes), externalAad, payload);
}

/** Sig_structure of one signer of a COSE_Sign (RFC 9052 section 4.4). */
export function signStructure(
  bodyProtectedBytes: Uint8Array,
  signerProtectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return structure(
    SIGNATURE,
    asSigned(bodyProtectedBytes),
    asSigned(signerProtectedBytes),
    externalAad,
    payload,
  );
}

/** MAC_structure of a COSE_Mac0: the bytes that are MACed (RFC 9052 section 6.3). */
export function macStructure0(
  protectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return structure(MAC_0, asSigned(protectedBytes), externalAad, payload);
}

/** MAC_structure of a COSE_Mac (RFC 9052 section 6.3). */
export function macStructure(
  protectedBytes: Uint8Array,
  payload: Uint8Array,
  externalAad: Uint8Array = EMPTY,
): Uint8Array {
  return structure(MAC, asSigned(protectedBytes), externalAad, payload);
}

/** Enc_structure of a COSE_Encrypt0: what an AEAD authenticates besides the ciphertext (RFC 9052 section 5.3). */
export function encStructure0(protectedBytes: Uint8Array, externalAad: Uint8Array = EMPTY): Uint8Array {
  return structure(ENCRYPT_0, asSigned(protectedBytes), externalAad);
}

/** Enc_structure of the content of a COSE_Encrypt (RFC 9052 section 5.3). */
export function encStructure(protectedBytes: Uint8Array, externalAad: Uint8Array = EMPTY): Uint8Array {
  return structure(ENCRYPT, asSigned(protectedBytes), externalAad);
}

/** An array of the encoded context and of byte strings, written in one piece. */
function structure(context: Uint8Array, ...fields: readonly Uint8Array[]): Uint8Array {
  let length = headLength(1 + fields.length) + context.length;
  for (const field of fields) length += headLength(field.length) + field.length;
  const bytes = new Uint8Array(length);
  writeHead(bytes, 0, 4, 1 + fields.length);
  let at = headLength(1 + fields.length);
  bytes.set(context, at);
  at += context.length;
  for (const field of fields) {
    writeHead(bytes, at, 2, field.length);
    at += headLength(field.length);
    bytes.set(field, at);
    at += field.length;
  }
  return bytes;
}

/** An empty map enters as the empty byte string, however it was sent (RFC 9052 section 3). */
function asSigned(protectedBytes: Uint8Array): Uint8Array {
  return protectedBytes.length === 1 && protectedBytes[0] === EMPTY_MAP ? EMPTY : protectedBytes;
}
