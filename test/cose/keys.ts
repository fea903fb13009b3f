import { generateKeyPairSync, type KeyObject, sign } from 'node:crypto';
import { type Signer, signatureAlgorithm } from '../../src/cose/index.ts';

/** A signer with a fresh key in memory, for tests. */
export function freshSigner(name: 'ESP256' | 'Ed25519' | 'ES256' | 'EdDSA'): Signer {
  const algorithm = signatureAlgorithm(name)!;
  const pair =
    algorithm.keyType === 'p256'
      ? generateKeyPairSync('ec', { namedCurve: 'P-256' })
      : generateKeyPairSync('ed25519');
  return {
    algorithm,
    publicKey: new Uint8Array(pair.publicKey.export({ format: 'der', type: 'spki' })),
    sign: async (message) => new Uint8Array(signRaw(pair.privateKey, message)),
  };
}

function signRaw(key: KeyObject, message: Uint8Array): Buffer {
  return key.asymmetricKeyType === 'ec'
    ? sign('sha256', message, { key, dsaEncoding: 'ieee-p1363' })
    : sign(null, message, key);
}
