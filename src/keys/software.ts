/** Keys in this process's memory: what file custody opens into, and what virtual stations and tests use. */
import {
  createHmac,
  createPrivateKey,
  createPublicKey,
  createSecretKey,
  generateKeyPairSync,
  type KeyObject,
  sign,
} from 'node:crypto';
import type { MacKey, Signer } from '../cose/index.ts';
import { readPublicKey, verifySignature } from '../crypto/index.ts';
import { HMAC_ALGORITHM, requireSigningType, type SigningKeyType, signingAlgorithm } from './algorithms.ts';
import { KeyError } from './error.ts';
import { checkValue } from './fingerprint.ts';

/**
 * Length of the secret keys made here, in bytes: the output of their hash, as RFC 9053 section 3.1
 * recommends.
 */
export const SECRET_KEY_LENGTH = 32;

/** Makes a private key. */
export function generatePrivateKey(type: SigningKeyType): KeyObject {
  return type === 'p256'
    ? generateKeyPairSync('ec', { namedCurve: 'prime256v1' }).privateKey
    : generateKeyPairSync('ed25519').privateKey;
}

/** The private key in DER PrivateKeyInfo bytes. Throws `KeyError` key-type-unsupported, key-file-damaged. */
export function importPrivateKey(info: Uint8Array): KeyObject {
  try {
    return createPrivateKey({
      key: Buffer.from(info.buffer, info.byteOffset, info.length),
      format: 'der',
      type: 'pkcs8',
    });
  } catch {
    throw new KeyError(
      'key-file-damaged',
      'The key file opens, but the private key inside is not valid.',
      'Fetch the file from its backup.',
    );
  }
}

/** DER SubjectPublicKeyInfo of a private key. */
export function publicHalf(privateKey: KeyObject): Uint8Array {
  return new Uint8Array(createPublicKey(privateKey).export({ format: 'der', type: 'spki' }));
}

/**
 * A signer over a private key in memory. Every signature is verified before it is given out, so that a fault
 * cannot release one that betrays the key. Its `sign` throws `KeyError` signature-faulty.
 */
export function softwareSigner(privateKey: KeyObject): Signer {
  const publicKey = publicHalf(privateKey);
  const parsed = readPublicKey(publicKey);
  if (!parsed) throw new TypeError('neither a P-256 nor an Ed25519 key');
  const type = requireSigningType(parsed.type);
  return {
    algorithm: signingAlgorithm(type),
    publicKey,
    async sign(message) {
      const signature = rawSignature(type, privateKey, message);
      if (verifySignature(parsed, message, signature)) return signature;
      throw faultySignature();
    },
  };
}

/**
 * A MAC key over secret bytes in memory. The bytes are copied into the key object; the caller may zero them.
 */
export function softwareMacKey(secret: Uint8Array): MacKey {
  const key = createSecretKey(secret);
  return {
    algorithm: HMAC_ALGORITHM,
    keyId: checkValue(secret),
    async mac(message) {
      return new Uint8Array(createHmac('sha256', key).update(message).digest());
    },
  };
}

/** A signature that does not verify with the signer's own public key. */
export function faultySignature(): KeyError {
  return new KeyError(
    'signature-faulty',
    'The key made a signature that its own public key does not verify; it was thrown away.',
    'The hardware is failing, or the public key on record belongs to another key: do not seal with it.',
  );
}

function rawSignature(type: SigningKeyType, key: KeyObject, message: Uint8Array): Uint8Array {
  return new Uint8Array(
    type === 'p256' ? sign('sha256', message, { key, dsaEncoding: 'ieee-p1363' }) : sign(null, message, key),
  );
}
