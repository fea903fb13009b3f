import { createPublicKey } from 'node:crypto';
import { concat, fromHex } from '../bytes/index.ts';

const P256_PREFIX = fromHex('3059301306072a8648ce3d020106082a8648ce3d030107034200');
const P256_COMPRESSED_PREFIX = fromHex('3039301306072a8648ce3d020106082a8648ce3d030107032200');
const ED25519_PREFIX = fromHex('302a300506032b6570032100');

/**
 * DER SubjectPublicKeyInfo, uncompressed, of the P-256 point with the 32-byte coordinate `x` and `y`, or the sign
 * bit of y (RFC 5480 section 2.2). `undefined` where there is no such point on the curve.
 */
export function p256Spki(x: Uint8Array, y: Uint8Array | boolean): Uint8Array | undefined {
  const spki =
    typeof y === 'boolean'
      ? concat(P256_COMPRESSED_PREFIX, Uint8Array.of(y ? 3 : 2), x)
      : concat(P256_PREFIX, Uint8Array.of(4), x, y);
  try {
    const jwk = createPublicKey({ key: Buffer.from(spki), format: 'der', type: 'spki' }).export({
      format: 'jwk',
    });
    const point = [jwk.x, jwk.y].map((part) => Buffer.from(part!, 'base64url'));
    return concat(P256_PREFIX, Uint8Array.of(4), ...point);
  } catch {
    return undefined;
  }
}

/** DER SubjectPublicKeyInfo of a 32-byte Ed25519 public key (RFC 8410 section 4). */
export function ed25519Spki(publicKey: Uint8Array): Uint8Array {
  return concat(ED25519_PREFIX, publicKey);
}
