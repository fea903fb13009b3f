/** TEST KEYS: made from the texts below, known to everybody, trusted by the units of the fuzz run only. */
import { createECDH, createHash, createPrivateKey, type KeyObject, sign as signWith } from 'node:crypto';
import { ed25519Spki, HssTrees, hssSpki, p256Spki, parseHssShape } from '../../../src/crypto/index.ts';

/** The key types that the throwaway authority signs with. */
export type SignerType = 'p256' | 'ed25519' | 'hss-lms';

/** A throwaway key. `sign` gives the raw signature. */
export interface ThrowawayKey {
  readonly spki: Uint8Array;
  sign(message: Uint8Array): Uint8Array;
}

const PKCS8_ED25519 = Buffer.from('302e020100300506032b657004220420', 'hex');

/** The key that `words` stand for; always the same. */
export function throwawayKey(type: SignerType, words: string): ThrowawayKey {
  const secret = secretOf(words);
  return { p256: p256Key, ed25519: ed25519Key, 'hss-lms': hssKey }[type](secret);
}

/** A throwaway key pair by which content keys are sent to a unit; `pkcs8` as the unit holds it. */
export function throwawayAgreementKey(words: string) {
  const { key, spki } = p256Pair(secretOf(words));
  return { spki, pkcs8: new Uint8Array(key.export({ format: 'der', type: 'pkcs8' })) };
}

function secretOf(words: string): Buffer {
  return createHash('sha256').update(`fieldseal fuzz, test key: ${words}`).digest();
}

function p256Key(secret: Buffer): ThrowawayKey {
  const { key, spki } = p256Pair(secret);
  const sign = (message: Uint8Array) =>
    new Uint8Array(signWith('sha256', message, { key, dsaEncoding: 'ieee-p1363' }));
  return { spki, sign };
}

function p256Pair(secret: Buffer): { key: KeyObject; spki: Uint8Array } {
  const curve = createECDH('prime256v1');
  curve.setPrivateKey(secret);
  const point = curve.getPublicKey();
  const [d, x, y] = [secret, point.subarray(1, 33), point.subarray(33)].map((part) =>
    part.toString('base64url'),
  );
  const key = createPrivateKey({ key: { kty: 'EC', crv: 'P-256', d, x, y }, format: 'jwk' });
  return { key, spki: p256Spki(new Uint8Array(point.subarray(1, 33)), new Uint8Array(point.subarray(33)))! };
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
    sign: (message) => new Uint8Array(signWith(null, message, key)),
  };
}

/**
 * The smallest tree. Every message is signed with the leaf that its digest picks, so that cases don't depend on their
 * order: leaves repeat, which gives the key away, and nobody but the units of the fuzz run trusts it.
 */
function hssKey(secret: Buffer): ThrowawayKey {
  const trees = new HssTrees({ shape: parseHssShape('N24/H5/W4')!, master: new Uint8Array(secret) });
  const leafOf = (message: Uint8Array) => BigInt(createHash('sha256').update(message).digest()[0]! % 32);
  return {
    spki: hssSpki(trees.publicKey())!,
    sign: (message) => trees.sign(leafOf(message), message),
  };
}
