/**
 * Crypto: the one place where the pure rooms meet primitive cryptography. Everything is node:crypto's; this
 * file gives it the shapes the standards use (raw r||s signatures, byte arrays, named key types).
 */
import {
  createHash,
  createHmac,
  createPublicKey,
  type KeyObject,
  randomBytes as nodeRandomBytes,
  timingSafeEqual,
  verify,
} from 'node:crypto';
import { toHex } from '../bytes/index.ts';
import { type KeyType, spkiKeyType } from './spki.ts';

/** A public key, parsed once and kept: importing a key costs more than verifying with it. */
export interface PublicKey {
  readonly type: KeyType;
  /** DER SubjectPublicKeyInfo (RFC 5280 section 4.1.2.7). */
  readonly spki: Uint8Array;
  readonly handle: KeyObject;
}

/** SHA-256 over the parts in order, 32 bytes (FIPS 180-4). */
export function sha256(...parts: readonly Uint8Array[]): Uint8Array {
  const hash = createHash('sha256');
  for (const part of parts) hash.update(part);
  return new Uint8Array(hash.digest());
}

/** A SHA-256 fed piece by piece. */
export interface RunningHash {
  update(bytes: Uint8Array): void;
  /** Ends the hash: 32 bytes. Call once. */
  digest(): Uint8Array;
}

/** Starts a SHA-256 over a message that does not fit in memory. */
export function startSha256(): RunningHash {
  const hash = createHash('sha256');
  return {
    update: (bytes) => {
      hash.update(bytes);
    },
    digest: () => new Uint8Array(hash.digest()),
  };
}

/** SHA-1, 20 bytes: for name-based UUIDs (RFC 9562 section 5.5) and key identifiers (RFC 5280 4.2.1.2) only. */
export function sha1ForNames(...parts: readonly Uint8Array[]): Uint8Array {
  const hash = createHash('sha1');
  for (const part of parts) hash.update(part);
  return new Uint8Array(hash.digest());
}

/** HMAC-SHA-256 over the parts in order, 32 bytes (RFC 2104, FIPS 198-1). */
export function hmacSha256(key: Uint8Array, ...parts: readonly Uint8Array[]): Uint8Array {
  const mac = createHmac('sha256', key);
  for (const part of parts) mac.update(part);
  return new Uint8Array(mac.digest());
}

/** Compares without telling by its duration where two values of equal length differ. */
export function equalInConstantTime(a: Uint8Array, b: Uint8Array): boolean {
  return a.length === b.length && timingSafeEqual(a, b);
}

/** Random bytes fit for keys, nonces and serial numbers. */
export function randomBytes(length: number): Uint8Array {
  return new Uint8Array(nodeRandomBytes(length));
}

const KEY_CACHE_LIMIT = 256;
const keyCache = new Map<string, PublicKey>();

/**
 * Reads a DER SubjectPublicKeyInfo. Only the named curve P-256 (RFC 5480) and Ed25519 (RFC 8410) are known; anything
 * else gives `undefined`: explicit curve parameters, the hybrid point form, BER, bytes after the end.
 */
export function readPublicKey(spki: Uint8Array): PublicKey | undefined {
  const id = toHex(spki);
  const known = keyCache.get(id);
  if (known) return known;
  const type = spkiKeyType(id);
  if (!type) return undefined;
  try {
    const handle = createPublicKey({ key: Buffer.from(spki), format: 'der', type: 'spki' });
    const key: PublicKey = { type, spki: spki.slice(), handle };
    if (keyCache.size >= KEY_CACHE_LIMIT) keyCache.clear();
    keyCache.set(id, key);
    return key;
  } catch {
    return undefined;
  }
}

/**
 * Verifies a raw 64-byte signature over `message`: r||s for P-256 with SHA-256 (RFC 9053 section 2.1), pure
 * Ed25519 (RFC 8032). False for every malformed input; never throws on data.
 */
export function verifySignature(key: PublicKey, message: Uint8Array, signature: Uint8Array): boolean {
  if (signature.length !== 64) return false;
  try {
    return key.type === 'p256'
      ? verify('sha256', message, { key: key.handle, dsaEncoding: 'ieee-p1363' }, signature)
      : verify(null, message, key.handle, signature);
  } catch {
    return false;
  }
}

export { ed25519Spki, type KeyType, p256Spki } from './spki.ts';
