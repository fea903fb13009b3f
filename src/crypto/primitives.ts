/** Hashes, MACs, key derivation and randomness: node:crypto's, in the shapes that the standards use. */
import * as nodeCrypto from 'node:crypto';

const { createHash, createHmac, hkdfSync, timingSafeEqual } = nodeCrypto;

/** SHA-256 over the parts in order, 32 bytes (FIPS 180-4). */
export function sha256(...parts: readonly Uint8Array[]): Uint8Array {
  if (parts.length === 1) {
    const digest = new Uint8Array(32);
    sha256Into(parts[0]!, digest, 0, digest.length);
    return digest;
  }
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

// Node 20.12 and later hash a short message in one call, several times as fast.
const hashOnce: typeof nodeCrypto.hash | undefined = nodeCrypto.hash;

/**
 * SHA-256 of one short message, of which the first `length` bytes are written into `into` at `offset`. For hash chains:
 * it makes no object per hash. `into` may be the message itself.
 */
export function sha256Into(message: Uint8Array, into: Uint8Array, offset: number, length: number): void {
  if (!hashOnce) {
    into.set(createHash('sha256').update(message).digest().subarray(0, length), offset);
    return;
  }
  const digest = hashOnce('sha256', message, 'binary');
  for (let i = 0; i < length; i++) into[offset + i] = digest.charCodeAt(i);
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

/** HKDF with SHA-256, extract and expand (RFC 5869). `info`: at most 1024 bytes. `length`: bytes wanted, at most 8160. */
export function hkdfSha256(
  secret: Uint8Array,
  salt: Uint8Array,
  info: Uint8Array,
  length: number,
): Uint8Array {
  return new Uint8Array(hkdfSync('sha256', secret, salt, info, length));
}

/** Compares without telling by its duration where two values of equal length differ. */
export function equalInConstantTime(a: Uint8Array, b: Uint8Array): boolean {
  return a.length === b.length && timingSafeEqual(a, b);
}

/** Random bytes fit for keys, nonces and serial numbers. */
export function randomBytes(length: number): Uint8Array {
  return new Uint8Array(nodeCrypto.randomBytes(length));
}
