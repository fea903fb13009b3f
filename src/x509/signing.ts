/** Signing of what this room writes: the callback signs, the room checks and wraps. */
import type { PublicKey } from '../crypto/index.ts';
import { isSoundKey, verifySignature } from '../crypto/index.ts';
import { algorithmFor, readSubjectKey, signatureFromRaw } from './algorithm.ts';
import { bitString, sequence } from './der-write.ts';
import { X509Error } from './x509-error.ts';

/**
 * Signs the bytes handed to it and returns the raw signature: r||s, 64 bytes, for P-256 with SHA-256 over the
 * bytes, pure Ed25519, or HSS/LMS. Custody hashes as it must.
 */
export type SignCallback = (tbs: Uint8Array) => Promise<Uint8Array>;

/**
 * The signed structure of RFC 5280: what is signed, the algorithm, the signature. The signature is verified
 * before it leaves: a wrong key in custody shows here and not in the field. Throws `X509Error` signature-not-own.
 */
export async function signStructure(
  tbs: Uint8Array,
  key: PublicKey,
  sign: SignCallback,
): Promise<Uint8Array> {
  const raw = await sign(tbs);
  if (!verifySignature(key, tbs, raw)) throw new X509Error('signature-not-own');
  return sequence(tbs, algorithmFor(key), bitString(signatureFromRaw(key, raw)));
}

/** The profile's key in a SubjectPublicKeyInfo. Throws `X509Error` key-unusable for every other, and one that is not sound. */
export function requireKey(spki: Uint8Array): PublicKey {
  const key = readSubjectKey(spki);
  if (!key || !isSoundKey(key)) throw new X509Error('key-unusable');
  return key;
}
