/** TEST KEYS: made from the texts below, known to everybody, trusted by the units of the fuzz run only. */
import { createECDH, createHash, createPrivateKey, type KeyObject, sign } from 'node:crypto';
import { ed25519Spki, p256Spki } from '../../../src/crypto/index.ts';

/** The key types that the throwaway authority signs with. */
export type SignerType = 'p256' | 'ed25519';

/** A throwaway key. `sign` gives the raw signature. */
export interface ThrowawayKey {
  readonly spki: Uint8Array;
  sign(message: Uint8Array): Uint8Array;
}

const PKCS8_ED25519 = Buffer.from('302e020100300506032b657004220420', 'hex');

/** The key that `words` stand for; always the same. */
export function throwawayKey(type: SignerType, words: string): ThrowawayKey {
  const secret = createHash('sha256').update(`fieldseal fuzz, test key: ${words}`).digest();
  return type === 'p256' ? p256Key(secret) : ed25519Key(secret);
}

function p256Key(secret: Buffer): ThrowawayKey {
  const curve = createECDH('prime256v1');
  curve.setPrivateKey(secret);
  const point = curve.getPublicKey();
  const [d, x, y] = [secret, point.subarray(1, 33), point.subarray(33)].map((part) =>
    part.toString('base64url'),
  );
  const key = createPrivateKey({ key: { kty: 'EC', crv: 'P-256', d, x, y }, format: 'jwk' });
  return {
    spki: p256Spki(new Uint8Array(point.subarray(1, 33)), new Uint8Array(point.subarray(33)))!,
    sign: (message) => new Uint8Array(sign('sha256', message, { key, dsaEncoding: 'ieee-p1363' })),
  };
}

function ed25519Key(secret: Buffer): ThrowawayKey {
  const key: KeyObject = createPrivateKey({
    key: Buffer.concat([PKCS8_ED25519, secret]),
    format: 'der',
    type: 'pkcs8',
  });
  const { x } = key.export({ format: 'jwk' });
  return {
    spki: ed25519Spki(new Uint8Array(Buffer.from(x!, 'base64url'))),
    sign: (message) => new Uint8Array(sign(null, message, key)),
  };
}
