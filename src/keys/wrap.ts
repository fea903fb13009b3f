/** AES key wrap (RFC 3394), with refusals in plain words: how a class key leaves its custody for a station. */
import { isWrappable, unwrapKeyData, wrapKeyData } from '../crypto/index.ts';
import { KeyError } from './error.ts';

const GROWTH = 8;

/**
 * Wraps key data under a key-encryption key (RFC 3394 section 2.2.1). `kek`: 16, 24 or 32 bytes. `keyData`: at
 * least 16 bytes, a multiple of 8. Returns 8 bytes more than went in. Throws `KeyError` wrap-input.
 */
export function wrapKey(kek: Uint8Array, keyData: Uint8Array): Uint8Array {
  requireKek(kek);
  requireLength('key to wrap', keyData.length, 16, isWrappable(keyData.length));
  return wrapKeyData(kek, keyData);
}

/**
 * Takes key data out of its wrapping (RFC 3394 section 2.2.2). `wrapped`: at least 24 bytes, a multiple of 8.
 * Throws `KeyError` wrap-input for another length, wrap-changed where the integrity check fails.
 */
export function unwrapKey(kek: Uint8Array, wrapped: Uint8Array): Uint8Array {
  requireKek(kek);
  requireLength('wrapped key', wrapped.length, 24, isWrappable(wrapped.length - GROWTH));
  const keyData = unwrapKeyData(kek, wrapped);
  if (keyData) return keyData;
  throw new KeyError(
    'wrap-changed',
    'The wrapped key does not open: it was changed, or it was wrapped under another key-encryption key.',
    'Compare the check value of the key-encryption key on both sides, then have the key wrapped again.',
  );
}

function requireKek(kek: Uint8Array): void {
  if ([16, 24, 32].includes(kek.length)) return;
  throw new KeyError(
    'wrap-input',
    `A key-encryption key has 16, 24 or 32 bytes; this one has ${kek.length}.`,
    'Give an AES key; fieldseal makes its own with 32 bytes.',
  );
}

function requireLength(what: string, length: number, minimum: number, fits: boolean): void {
  if (fits) return;
  throw new KeyError(
    'wrap-input',
    `A ${what} has at least ${minimum} bytes, in steps of 8 (RFC 3394); this one has ${length}.`,
    'The value was cut off or is not a key: copy it again from where it was made.',
  );
}
