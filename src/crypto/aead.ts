import { createCipheriv, createDecipheriv } from 'node:crypto';
import { plainView, type RunningCipher } from './running-cipher.ts';

/** AES-GCM (NIST SP 800-38D) and ChaCha20-Poly1305 (RFC 8439), by node:crypto's names. */
export type AeadName = 'aes-128-gcm' | 'aes-192-gcm' | 'aes-256-gcm' | 'chacha20-poly1305';

/** Bytes of every nonce here: RFC 9053 sections 4.1 and 4.3. */
const NONCE_LENGTH = 12;
/** Bytes of every tag here; shorter ones are neither made nor taken. */
const TAG_LENGTH = 16;

const KEY_LENGTH: Record<AeadName, number> = {
  'aes-128-gcm': 16,
  'aes-192-gcm': 24,
  'aes-256-gcm': 32,
  'chacha20-poly1305': 32,
};

/** An AEAD encryption under way. */
export interface RunningAeadSeal extends RunningCipher {
  /** Ends it: the 16-byte tag over everything. Call once. */
  tag(): Uint8Array;
}

/** An AEAD decryption under way. What `update` returns is unverified, and must go nowhere before `verify` says true. */
export interface RunningAeadOpen extends RunningCipher {
  /** Ends it: whether the 16-byte tag fits all that went in; compared in constant time. Call once. */
  verify(tag: Uint8Array): boolean;
}

/**
 * Starts an AEAD encryption. `key`: as long as `name` says. `nonce`: 12 bytes, never used before with this key. Throws
 * `RangeError` for other lengths.
 */
export function startAeadSeal(
  name: AeadName,
  key: Uint8Array,
  nonce: Uint8Array,
  aad: Uint8Array,
): RunningAeadSeal {
  requireLengths(name, key, nonce);
  // The names differ in what they promise the type checker, not in what they take.
  const cipher = createCipheriv(name as 'aes-128-gcm', key, nonce, { authTagLength: TAG_LENGTH });
  cipher.setAAD(aad);
  return {
    update: (piece) => plainView(cipher.update(piece)),
    tag() {
      cipher.final();
      return new Uint8Array(cipher.getAuthTag());
    },
  };
}

/** Starts an AEAD decryption; parameters as for `startAeadSeal`. */
export function startAeadOpen(
  name: AeadName,
  key: Uint8Array,
  nonce: Uint8Array,
  aad: Uint8Array,
): RunningAeadOpen {
  requireLengths(name, key, nonce);
  const decipher = createDecipheriv(name as 'aes-128-gcm', key, nonce, { authTagLength: TAG_LENGTH });
  decipher.setAAD(aad);
  return {
    update: (piece) => plainView(decipher.update(piece)),
    verify(tag) {
      if (tag.length !== TAG_LENGTH) return false;
      try {
        decipher.setAuthTag(tag);
        decipher.final();
        return true;
      } catch {
        return false;
      }
    },
  };
}

function requireLengths(name: AeadName, key: Uint8Array, nonce: Uint8Array): void {
  if (key.length !== KEY_LENGTH[name]) {
    throw new RangeError(`${name} takes a key of ${KEY_LENGTH[name]} bytes, not ${key.length}`);
  }
  if (nonce.length !== NONCE_LENGTH) {
    throw new RangeError(`${name} takes a nonce of ${NONCE_LENGTH} bytes here, not ${nonce.length}`);
  }
}
