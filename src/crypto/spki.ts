import { createPublicKey } from 'node:crypto';
import { concat, fromHex } from '../bytes/index.ts';

/** Key types that signature algorithms of the mandatory profiles use. */
export type KeyType = 'p256' | 'ed25519' | 'hss-lms';

/** Everything before the coordinates, tag of the point included, and the whole length in bytes. */
interface SpkiForm {
  readonly type: KeyType;
  readonly prefix: string;
  readonly length: number;
}

const P256_ALGORITHM = '301306072a8648ce3d020106082a8648ce3d030107';
const P256_UNCOMPRESSED = `3059${P256_ALGORITHM}03420004`;
const P256_EVEN = `3039${P256_ALGORITHM}03220002`;
const P256_ODD = `3039${P256_ALGORITHM}03220003`;
const ED25519 = '302a300506032b6570032100';
// id-alg-hss-lms-hashsig 1.2.840.113549.1.9.16.3.17, no parameters; the key stands in the BIT STRING as it is, without an
// OCTET STRING around it (RFC 9802 section 4). 60 bytes for n = 32, 52 for n = 24 (RFC 8554 sections 5.3 and 6.1, RFC 9858).
const HSS_ALGORITHM = '300d060b2a864886f70d0109100311';
const HSS_N32 = `304e${HSS_ALGORITHM}033d00`;
const HSS_N24 = `3046${HSS_ALGORITHM}033500`;
const HSS_PREFIX_LENGTH = 20;

/** The DER forms of RFC 5480 section 2 (named curve), RFC 8410 section 4 and RFC 9802 section 4. */
const FORMS: readonly SpkiForm[] = [
  { type: 'p256', prefix: P256_UNCOMPRESSED, length: 91 },
  { type: 'p256', prefix: P256_EVEN, length: 59 },
  { type: 'p256', prefix: P256_ODD, length: 59 },
  { type: 'ed25519', prefix: ED25519, length: 44 },
  { type: 'hss-lms', prefix: HSS_N32, length: 80 },
  { type: 'hss-lms', prefix: HSS_N24, length: 72 },
];

/**
 * The key type of a SubjectPublicKeyInfo in hexadecimal, `undefined` where it is in none of the known forms. Whole
 * prefixes are compared because OpenSSL also takes hybrid points, stray unused bits and bytes after the end.
 */
export function spkiKeyType(spkiHex: string): KeyType | undefined {
  return FORMS.find((form) => spkiHex.length === 2 * form.length && spkiHex.startsWith(form.prefix))?.type;
}

/**
 * DER SubjectPublicKeyInfo, uncompressed, of the P-256 point with the 32-byte coordinate `x` and `y`, or the sign
 * bit of y (RFC 5480 section 2.2). `undefined` where there is no such point on the curve.
 */
export function p256Spki(x: Uint8Array, y: Uint8Array | boolean): Uint8Array | undefined {
  const spki =
    typeof y === 'boolean'
      ? concat(fromHex(y ? P256_ODD : P256_EVEN), x)
      : concat(fromHex(P256_UNCOMPRESSED), x, y);
  try {
    const key = createPublicKey({ key: Buffer.from(spki), format: 'der', type: 'spki' });
    const jwk = key.export({ format: 'jwk' });
    const point = [jwk.x, jwk.y].map((part) => Buffer.from(part!, 'base64url'));
    return concat(fromHex(P256_UNCOMPRESSED), ...point);
  } catch {
    return undefined;
  }
}

/** DER SubjectPublicKeyInfo of a 32-byte Ed25519 public key (RFC 8410 section 4). */
export function ed25519Spki(publicKey: Uint8Array): Uint8Array {
  return concat(fromHex(ED25519), publicKey);
}

/**
 * DER SubjectPublicKeyInfo of an HSS public key (RFC 9802 section 4): 60 bytes for n = 32, 52 for n = 24. `undefined` for
 * any other length; whether its parameter sets are known, `readPublicKey` tells.
 */
export function hssSpki(publicKey: Uint8Array): Uint8Array | undefined {
  const form = FORMS.find(
    ({ type, length }) => type === 'hss-lms' && length === HSS_PREFIX_LENGTH + publicKey.length,
  );
  return form && concat(fromHex(form.prefix), publicKey);
}

/** The 32-byte public key in a SubjectPublicKeyInfo of type 'ed25519'. */
export function ed25519KeyOf(spki: Uint8Array): Uint8Array {
  return spki.subarray(ED25519.length / 2);
}

/** The HSS public key in a SubjectPublicKeyInfo of type 'hss-lms'. */
export function hssKeyOf(spki: Uint8Array): Uint8Array {
  return spki.subarray(HSS_PREFIX_LENGTH);
}
