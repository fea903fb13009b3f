/** What people compare: fingerprints read across two screens, check values of secret keys. */
import { fromUtf8 } from '../bytes/index.ts';
import { hmacSha256 } from '../crypto/index.ts';

/**
 * Message of the check value. It begins with a letter, so it is never a MAC_structure (RFC 9052 section 6.3).
 */
export const CHECK_VALUE_MESSAGE = fromUtf8('fieldseal check value');

/** Length of a check value in bytes. */
export const CHECK_VALUE_LENGTH = 8;

/**
 * Whether a fingerprint that a person typed or pasted names `fingerprint` (hexadecimal). Blanks, colons,
 * dashes and upper case do not matter; a part of the fingerprint is not enough.
 */
export function fingerprintMatches(typed: string, fingerprint: string): boolean {
  return typed.replace(/[\s:-]/g, '').toLowerCase() === fingerprint.toLowerCase();
}

/**
 * Check value of a secret key: the first 8 bytes of HMAC-SHA-256(key, "fieldseal check value"). It tells
 * whether two places hold the same key. HMAC is a pseudorandom function (RFC 2104), so for a random 32-byte
 * key the value gives nothing away about the key or about MACs over other messages.
 */
export function checkValue(secret: Uint8Array): Uint8Array {
  return hmacSha256(secret, CHECK_VALUE_MESSAGE).slice(0, CHECK_VALUE_LENGTH);
}
