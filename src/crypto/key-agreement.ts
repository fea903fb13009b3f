import {
  createPrivateKey,
  createPublicKey,
  diffieHellman,
  generateKeyPairSync,
  type KeyObject,
} from 'node:crypto';
import { concat, fromHex, toHex } from '../bytes/index.ts';
import { spkiKeyType } from './spki.ts';

/** Curves of key agreement: P-256 (SP 800-56A), X25519 (RFC 7748). */
export type AgreementCurve = 'p256' | 'x25519';

/** A public key that secrets are agreed with. */
export interface AgreementPublicKey {
  readonly curve: AgreementCurve;
  /** DER SubjectPublicKeyInfo: RFC 5480 (named curve), RFC 8410. */
  readonly spki: Uint8Array;
  readonly handle: KeyObject;
}

/** A private key that secrets are agreed with. */
export interface AgreementPrivateKey {
  readonly curve: AgreementCurve;
  readonly publicKey: AgreementPublicKey;
  readonly handle: KeyObject;
}

const X25519 = '302a300506032b656e032100';
const X25519_LENGTH = 44;

/** DER SubjectPublicKeyInfo of a 32-byte X25519 public key (RFC 8410 section 4). */
export function x25519Spki(publicKey: Uint8Array): Uint8Array {
  return concat(fromHex(X25519), publicKey);
}

/**
 * Reads a DER SubjectPublicKeyInfo of P-256 as named curve (a point on it) or X25519. Anything else gives `undefined`:
 * explicit curve parameters, the hybrid point form, BER, bytes after the end.
 */
export function readAgreementKey(spki: Uint8Array): AgreementPublicKey | undefined {
  const curve = curveOf(spki);
  if (!curve) return undefined;
  try {
    const handle = createPublicKey({ key: Buffer.from(spki), format: 'der', type: 'spki' });
    return { curve, spki: new Uint8Array(spki), handle };
  } catch {
    return undefined;
  }
}

/** Takes an opened private key into use. Throws `TypeError` where it is on neither curve. */
export function agreementPrivateKey(handle: KeyObject): AgreementPrivateKey {
  const exported = createPublicKey(handle).export({ format: 'der', type: 'spki' });
  const publicKey = readAgreementKey(new Uint8Array(exported));
  if (!publicKey) throw new TypeError('a key to agree secrets with is on P-256 (named curve) or X25519');
  return { curve: publicKey.curve, publicKey, handle };
}

/** Opens a DER PKCS#8 private key (RFC 5958). Throws `TypeError` where it is none on these curves; says no more of it. */
export function readAgreementPrivateKey(pkcs8: Uint8Array): AgreementPrivateKey {
  let handle: KeyObject;
  try {
    handle = createPrivateKey({ key: Buffer.from(pkcs8), format: 'der', type: 'pkcs8' });
  } catch {
    throw new TypeError('the private key is not in PKCS#8 form, or damaged');
  }
  return agreementPrivateKey(handle);
}

/** A fresh key pair, to be used once or kept. */
export function generateAgreementKey(curve: AgreementCurve): AgreementPrivateKey {
  const pair =
    curve === 'p256' ? generateKeyPairSync('ec', { namedCurve: 'P-256' }) : generateKeyPairSync('x25519');
  return agreementPrivateKey(pair.privateKey);
}

/**
 * The shared secret, 32 bytes: the x coordinate (SP 800-56A section 5.7.1.2) or the X25519 output. `undefined` where the
 * keys are on two curves, or the X25519 output is all zero (RFC 7748 section 6.1).
 */
export function agreeSecret(own: AgreementPrivateKey, other: AgreementPublicKey): Uint8Array | undefined {
  if (own.curve !== other.curve) return undefined;
  try {
    return new Uint8Array(diffieHellman({ privateKey: own.handle, publicKey: other.handle }));
  } catch {
    return undefined;
  }
}

/** The coordinates of a public key as COSE_Key has them: x, and y on P-256. 32 bytes each. */
export function publicCoordinates(key: AgreementPublicKey): { x: Uint8Array; y?: Uint8Array } {
  const jwk = key.handle.export({ format: 'jwk' });
  const x = new Uint8Array(Buffer.from(jwk.x!, 'base64url'));
  return jwk.y ? { x, y: new Uint8Array(Buffer.from(jwk.y, 'base64url')) } : { x };
}

function curveOf(spki: Uint8Array): AgreementCurve | undefined {
  const hex = toHex(spki);
  if (spki.length === X25519_LENGTH && hex.startsWith(X25519)) return 'x25519';
  return spkiKeyType(hex) === 'p256' ? 'p256' : undefined;
}
