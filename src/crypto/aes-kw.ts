import { createCipheriv, createDecipheriv } from 'node:crypto';

const INITIAL_VALUE = Buffer.alloc(8, 0xa6); // RFC 3394 section 2.2.3.1
const SEMIBLOCK = 8;
const SHORTEST_DATA = 2 * SEMIBLOCK;

/** Whether key data of this many bytes can be wrapped (RFC 3394 section 2). */
export function isWrappable(length: number): boolean {
  return length >= SHORTEST_DATA && length % SEMIBLOCK === 0;
}

/**
 * AES key wrap (RFC 3394 section 2.2.1). `kek`: 16, 24 or 32 bytes. `keyData`: at least 16 bytes, a multiple of 8. Returns
 * 8 bytes more than went in. Throws `RangeError` for other lengths.
 */
export function wrapKeyData(kek: Uint8Array, keyData: Uint8Array): Uint8Array {
  if (!isWrappable(keyData.length)) {
    throw new RangeError(`key data of ${keyData.length} bytes cannot be wrapped: at least 16, in steps of 8`);
  }
  const cipher = createCipheriv(cipherName(kek), kek, INITIAL_VALUE);
  return joined(cipher.update(keyData), cipher.final());
}

/**
 * Takes key data out of its wrapping (RFC 3394 section 2.2.2). `undefined` where `wrapped` has no possible length or fails
 * the integrity check: it was changed, or wrapped under another key. Throws `RangeError` for a key of another length.
 */
export function unwrapKeyData(kek: Uint8Array, wrapped: Uint8Array): Uint8Array | undefined {
  const name = cipherName(kek);
  if (!isWrappable(wrapped.length - SEMIBLOCK)) return undefined;
  const decipher = createDecipheriv(name, kek, INITIAL_VALUE);
  try {
    return joined(decipher.update(wrapped), decipher.final());
  } catch {
    return undefined;
  }
}

function cipherName(kek: Uint8Array): string {
  if (![16, 24, 32].includes(kek.length)) {
    throw new RangeError(`a key-encryption key has 16, 24 or 32 bytes, not ${kek.length}`);
  }
  return `id-aes${kek.length * 8}-wrap`;
}

function joined(...parts: Buffer[]): Uint8Array {
  return new Uint8Array(Buffer.concat(parts));
}
