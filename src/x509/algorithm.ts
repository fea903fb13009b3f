/** Signature algorithms of certificates, requests and CRLs. A unit's profile allows those in `UNIT_ALGORITHMS`. */
import { concat, equal } from '../bytes/index.ts';
import { type KeyType, type PublicKey, readPublicKey, verifySignature } from '../crypto/index.ts';
import { type DerReader, readDer, TAG } from './der.ts';
import { DerError } from './der-error.ts';
import { integer, oid, sequence } from './der-write.ts';
import { OID } from './oids.ts';
import { X509Error } from './x509-error.ts';

/** One algorithm that a validator may allow. */
export interface CertificateAlgorithm {
  readonly oid: string;
  readonly name: string;
  /** Whether this is the signature of `message` by that key; in raw form where `signatureToRaw` knows one. */
  verify(spki: Uint8Array, message: Uint8Array, signature: Uint8Array): boolean;
}

interface ProfileAlgorithm extends CertificateAlgorithm {
  readonly keyType: KeyType;
  /** From the BIT STRING's content to the raw form; `undefined` where it is not well-formed. */
  toRaw(value: Uint8Array): Uint8Array | undefined;
  fromRaw(raw: Uint8Array): Uint8Array;
}

const HALF = 32;
const P256_SPKI_LENGTH = 91;

/** ecdsa-with-SHA256 (RFC 5758 section 3.2), Ed25519 (RFC 8410 section 6), HSS/LMS (RFC 9802). None has parameters. */
const PROFILE: readonly ProfileAlgorithm[] = [
  profileAlgorithm(OID.ecdsaWithSha256, 'ECDSA P-256 with SHA-256', 'p256', ecdsaToRaw, ecdsaFromRaw),
  profileAlgorithm(OID.ed25519, 'Ed25519', 'ed25519', ed25519ToRaw, asItStands),
  profileAlgorithm(OID.hssLms, 'HSS/LMS', 'hss-lms', asItStands, asItStands),
];

/** What a unit accepts: signatures of P-256 with SHA-256, of Ed25519, and of HSS/LMS. */
export const UNIT_ALGORITHMS: readonly CertificateAlgorithm[] = PROFILE;

/** An AlgorithmIdentifier: the identifier, and its whole element for comparing it with another. */
export interface AlgorithmIdentifier {
  readonly oid: string;
  readonly whole: Uint8Array;
}

/**
 * Reads an AlgorithmIdentifier. Throws `X509Error` algorithm-parameters where one of the profile's algorithms
 * carries parameters.
 */
export function readAlgorithm(reader: DerReader): AlgorithmIdentifier {
  const element = reader.element(TAG.sequence);
  const inner = reader.inside(element);
  const found = inner.oid();
  const parameters = inner.atEnd ? undefined : inner.any();
  inner.finish();
  if (parameters && profileByOid(found))
    throw new X509Error('algorithm-parameters', { offset: element.start });
  return { oid: found, whole: element.whole };
}

/**
 * The key in a SubjectPublicKeyInfo where the profile has its algorithm. A P-256 point counts only in uncompressed
 * form: one key has one encoding, so that a fingerprint on a deny list cannot be stepped round (RFC 5480 section 2.2).
 */
export function readSubjectKey(spki: Uint8Array): PublicKey | undefined {
  const key = readPublicKey(spki);
  if (!key || !profileByKeyType(key.type)) return undefined;
  return key.type === 'p256' && spki.length !== P256_SPKI_LENGTH ? undefined : key;
}

/** The AlgorithmIdentifier that a key of the profile signs with. */
export function algorithmFor(key: PublicKey): Uint8Array {
  return sequence(oid(requireProfile(key).oid));
}

/** A raw signature as certificates carry it: an ECDSA-Sig-Value (RFC 3279 section 2.2.3), or as it is. */
export function signatureFromRaw(key: PublicKey, raw: Uint8Array): Uint8Array {
  return requireProfile(key).fromRaw(raw);
}

/** The raw form of a signature, 64 bytes but for HSS/LMS. Empty where it is malformed; as it stands for unknown algorithms. */
export function signatureToRaw(algorithmOid: string, value: Uint8Array): Uint8Array {
  const algorithm = profileByOid(algorithmOid);
  return algorithm ? (algorithm.toRaw(value) ?? new Uint8Array()) : value;
}

/** ECDSA-Sig-Value to r||s, 64 bytes; `undefined` where it is not DER, or r or s is negative or above 32 bytes. */
export function ecdsaToRaw(value: Uint8Array): Uint8Array | undefined {
  try {
    const [r, s] = readDer(value, (reader) => {
      const inner = reader.enter();
      const halves = [inner.integerBytes(), inner.integerBytes()] as const;
      inner.finish();
      return halves;
    });
    const [left, right] = [toHalf(r), toHalf(s)];
    return left && right && concat(left, right);
  } catch (error) {
    if (error instanceof DerError) return undefined;
    throw error;
  }
}

/** r||s, 64 bytes, to an ECDSA-Sig-Value. */
export function ecdsaFromRaw(raw: Uint8Array): Uint8Array {
  return sequence(integer(raw.subarray(0, HALF)), integer(raw.subarray(HALF)));
}

/** Whether two AlgorithmIdentifiers are the same. */
export function sameAlgorithm(a: AlgorithmIdentifier, b: AlgorithmIdentifier): boolean {
  return equal(a.whole, b.whole);
}

function profileAlgorithm(
  identifier: string,
  name: string,
  keyType: KeyType,
  toRaw: ProfileAlgorithm['toRaw'],
  fromRaw: ProfileAlgorithm['fromRaw'],
): ProfileAlgorithm {
  const verify = (spki: Uint8Array, message: Uint8Array, signature: Uint8Array): boolean => {
    const key = readSubjectKey(spki);
    return key?.type === keyType && verifySignature(key, message, signature);
  };
  return { oid: identifier, name, keyType, toRaw, fromRaw, verify };
}

function profileByOid(identifier: string): ProfileAlgorithm | undefined {
  return PROFILE.find((row) => row.oid === identifier);
}

function requireProfile(key: PublicKey): ProfileAlgorithm {
  const algorithm = profileByKeyType(key.type);
  if (!algorithm) throw new X509Error('key-unusable');
  return algorithm;
}

function profileByKeyType(keyType: KeyType): ProfileAlgorithm | undefined {
  return PROFILE.find((row) => row.keyType === keyType);
}

function asItStands(value: Uint8Array): Uint8Array {
  return value;
}

function ed25519ToRaw(value: Uint8Array): Uint8Array | undefined {
  return value.length === 2 * HALF ? value : undefined;
}

function toHalf(content: Uint8Array): Uint8Array | undefined {
  if (content[0]! >= 0x80) return undefined;
  const digits = content[0] === 0 ? content.subarray(1) : content;
  if (digits.length > HALF) return undefined;
  const half = new Uint8Array(HALF);
  half.set(digits, HALF - digits.length);
  return half;
}
