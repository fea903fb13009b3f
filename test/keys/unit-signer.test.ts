/** Private keys of a unit's own, in clear for trials and as encrypted PEM texts otherwise. Keys made here are test keys. */
import { generateKeyPairSync } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { fromUtf8 } from '../../src/bytes/index.ts';
import { readPublicKey, verifySignature } from '../../src/crypto/index.ts';
import { openUnitSigner, protectUnitKey, unitSigner } from '../../src/keys/index.ts';
import { codeOf, withPassphrase } from './support.ts';

const MESSAGE = fromUtf8('what the unit signs');

function freshKey() {
  const { privateKey, publicKey } = generateKeyPairSync('ec', { namedCurve: 'P-256' });
  return {
    info: new Uint8Array(privateKey.export({ format: 'der', type: 'pkcs8' })),
    spki: new Uint8Array(publicKey.export({ format: 'der', type: 'spki' })),
  };
}

describe('RFC 5958: the private key of a unit', () => {
  it('signs, and its bytes are zeroed once it is open', async () => {
    const { info, spki } = freshKey();
    const signer = unitSigner(info);
    expect(info.every((byte) => byte === 0)).toBe(true);
    expect(signer.publicKey).toEqual(spki);
    expect(verifySignature(readPublicKey(spki)!, MESSAGE, await signer.sign(MESSAGE))).toBe(true);
  });

  it('opens with the passphrase it was protected with, and with no other', async () => {
    const { info, spki } = freshKey();
    const pem = await protectUnitKey(info, 'unit report key', withPassphrase());
    expect(pem).toContain('BEGIN ENCRYPTED PRIVATE KEY');
    const signer = await openUnitSigner(pem, 'unit report key', withPassphrase());
    expect(signer.publicKey).toEqual(spki);
    const other = () => openUnitSigner(pem, 'unit report key', withPassphrase('another passphrase'));
    expect(await codeOf(other)).toBe('passphrase-wrong');
  });
});
