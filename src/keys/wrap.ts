/**
 * AES key wrap with a 256-bit key-encryption key (RFC 3394): how a class key leaves its custody for a
 * station.
 */
import { createCipheriv, createDecipheriv } from 'node:crypto';
import { KeyError } from './error.ts';

const INITIAL_VALUE = Buffer.alloc(8, 0xa6); // RFC 3394 section 2.2.3.1
const SEMIBLOCK = 8;

/**
 * Wraps key data under a key-encryption key (RFC 3394 section 2.2.1). `kek`: 16, 24 or 32 bytes. `keyData`:
 * at least 16 bytes, a multiple of 8. Returns 8 bytes more than went in. Throws `KeyError` wrap-input.
 */
export function wrapKey(kek: Uint8Array, keyData: Uint8Array): Uint8Array {
  requireWrapInput(keyData.length, 2 * SEMIBLOCK, 'key to wrap');
  const cipher = createCipheriv(cipherName(kek), kek, INITIAL_VALUE);
  return new Uint8Array(Buffer.concat([cipher.update(keyData), cipher.final()]));
}

/**
 * Takes key data out of its wrapping (RFC 3394 section 2.2.2). `wrapped`: at least 24 bytes, a multiple of 8.
 * Throws `KeyError` wrap-input for another length, wrap-changed where the integrity check fails.
 */
export function unwrapKey(kek: Uint8Array, wrapped: Uint8Array): Uint8Array {
  requireWrapInput(wrapped.length, 3 * SEMIBLOCK, 'wrapped key');
  const decipher = createDecipheriv(cipherName(kek), kek, INITIAL_VALUE);
  try {
    return new Uint8Array(Buffer.concat([decipher.update(wrapped), decipher.final()]));
  } catch {
    throw new KeyError(
      'wrap-changed',
      'The wrapped key does not open: it was changed, or it was wrapped under another key-encryption key.',
      'Compare the check value of the key-encryption key on both sides, then have the key wrapped again.',
    );
  }
}

function cipherName(kek: Uint8Array): string {
  if (kek.length !== 16 && kek.length !== 24 && kek.length !== 32) {
    throw new KeyError(
      'wrap-input',
      `A key-encryption key has 16, 24 or 32 bytes; this one has ${kek.length}.`,
      'Give an AES key; fieldseal makes its own with 32 bytes.',
    );
  }
  return `id-aes${kek.length * 8}-wrap`;
}

function requireWrapInput(length: number, minimum: number, what: string): void {
  if (length >= minimum && length % SEMIBLOCK === 0) return;
  throw new KeyError(
    'wrap-input',
    `A ${what} has at least ${minimum} bytes, in steps of ${SEMIBLOCK} (RFC 3394); this one has ${length}.`,
    'The value was cut off or is not a key: copy it again from where it was made.',
  );
}
