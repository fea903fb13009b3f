/** Encrypted messages: authenticated outside, checked before they are decrypted. RFC 9052 4.2, 5, 6.2, 11.4. */
import { describe, expect, it } from 'vitest';
import { fromUtf8, toHex } from '../../../src/bytes/index.ts';
import {
  type AuthenticityCheck,
  decodeCose,
  encryptMessage,
  heldMacKey,
  heldWrappingKey,
  type MessageParts,
  type OpenMessageOptions,
  openMessage,
  privateKeyUnwrapper,
  publicKeyRecipient,
  type SealParts,
  sealEncrypt,
  sealEncrypt0,
  sealMac0,
  sealSign1,
  verifyMac0,
  verifySign1,
  wrappingKeyUnwrapper,
} from '../../../src/cose/index.ts';
import { generateAgreementKey, readPublicKey } from '../../../src/crypto/index.ts';
import { freshSigner } from '../keys.ts';
import { A128CTR, A128GCM, A256GCM, CHACHA } from './support.ts';

const PLAINTEXT = fromUtf8('announce: sequence 12 for greenhouse controllers');
const device = generateAgreementKey('p256');
const signer = freshSigner('ESP256');
const macKey = new Uint8Array(32).fill(0x33);
const shared = { algorithm: CHACHA, key: new Uint8Array(32).fill(0x44), keyId: fromUtf8('cohort-2') };

const signedBy =
  (spki = signer.publicKey): AuthenticityCheck =>
  (message, payload) =>
    message.kind === 'sign1'
      ? verifySign1(message, readPublicKey(spki)!, payload)
      : verifyMac0(message, macKey, payload);

const options: OpenMessageOptions = {
  authenticate: signedBy(),
  unwrappers: [privateKeyUnwrapper(device), wrappingKeyUnwrapper(macKey)],
  shared,
  algorithms: [A128GCM, CHACHA],
};
const toDevice = { algorithm: A128GCM, recipients: [publicKeyRecipient(device.publicKey)] };
const parts: MessageParts = { plaintext: PLAINTEXT, encryption: toDevice, authenticator: signer };

describe('both ways', () => {
  it.each<[string, MessageParts['authenticator'], MessageParts['encryption']]>([
    ['Sign1 around Encrypt, ECDH-ES', signer, toDevice],
    ['Sign1 with Ed25519 around Encrypt0', freshSigner('Ed25519'), { shared }],
    [
      'Mac0 around Encrypt, A256KW',
      heldMacKey(fromUtf8('c'), macKey),
      { algorithm: CHACHA, recipients: [heldWrappingKey(macKey)] },
    ],
    ['Mac0 around Encrypt0', heldMacKey(fromUtf8('c'), macKey), { shared }],
  ])('%s', async (_, authenticator, encryption) => {
    const bytes = await encryptMessage({
      plaintext: PLAINTEXT,
      contentType: 'application/suit-envelope+cose',
      encryption,
      authenticator,
    });
    expect(toHex(bytes)).not.toContain(toHex(PLAINTEXT));
    const authenticate = 'publicKey' in authenticator ? signedBy(authenticator.publicKey) : signedBy();
    expect(openMessage(bytes, { ...options, authenticate })).toEqual({
      ok: true,
      plaintext: PLAINTEXT,
      contentType: 'application/suit-envelope+cose',
    });
  });
  it('RFC 9052 11.4: the outer content type is protected: 96 for an Encrypt, 16 for an Encrypt0', async () => {
    const typeOf = async (encryption: MessageParts['encryption']) =>
      decodeCose(await encryptMessage({ ...parts, encryption })).headers.protectedGet(3);
    expect(await typeOf(toDevice)).toMatchObject({ type: 'uint', value: 96 });
    expect(await typeOf({ shared })).toMatchObject({ type: 'uint', value: 16 });
  });
  it('no content type, or a number, comes back as such', async () => {
    expect(openMessage(await encryptMessage(parts), options)).toMatchObject({ contentType: undefined });
    const numbered = await encryptMessage({ ...parts, contentType: 60 });
    expect(openMessage(numbered, options)).toMatchObject({ contentType: 60 });
  });
});

describe('first checked, then decrypted', () => {
  it('what a stranger encrypted to the device is refused unread', async () => {
    let decryptions = 0;
    const watched = {
      ...options,
      unwrappers: [{ unwrap: () => void decryptions++ as undefined }],
    };
    const forged = await encryptMessage({ ...parts, authenticator: freshSigner('ESP256') });
    expect(openMessage(forged, watched)).toMatchObject({
      ok: false,
      step: 'authenticity',
      code: 'signature-wrong',
    });
    expect(decryptions).toBe(0);
    openMessage(await encryptMessage(parts), watched);
    expect(decryptions).toBe(1);
  });
  it('an encrypted message without signature or MAC is refused', async () => {
    const bare = await sealEncrypt({ ...toDevice, plaintext: PLAINTEXT });
    expect(openMessage(bare, options)).toMatchObject({ step: 'message', code: 'kind-unsupported' });
    expect(openMessage(sealEncrypt0(shared, { plaintext: PLAINTEXT }), options)).toMatchObject({
      step: 'message',
    });
  });
  it('every changed byte is refused before the decryption', async () => {
    const bytes = await encryptMessage(parts);
    for (let place = 0; place < bytes.length; place++) {
      const changed = bytes.slice();
      changed[place]! ^= 0x40;
      const verdict = openMessage(changed, options);
      expect(verdict.ok, `byte ${place}`).toBe(false);
      expect(verdict).not.toMatchObject({ step: 'decryption' });
    }
  });
  it('a message cut anywhere is refused', async () => {
    const bytes = await encryptMessage(parts);
    for (let length = 0; length < bytes.length; length++) {
      expect(openMessage(bytes.subarray(0, length), options)).toMatchObject({ ok: false, step: 'message' });
    }
  });
});

describe('authentic, and still refused', () => {
  const seal = (payload: Uint8Array, more: Partial<SealParts> = {}) =>
    sealSign1(signer, { payload, attached: true, protectedHeaders: [[3, 96]], ...more });
  const inner = () => sealEncrypt({ ...toDevice, plaintext: PLAINTEXT });

  it.each<[string, () => Promise<Uint8Array>, object]>([
    [
      'a detached payload',
      async () => seal(await inner(), { attached: false }),
      { step: 'message', code: 'payload-detached' },
    ],
    ['a payload in the clear', () => seal(PLAINTEXT), { step: 'decryption', code: 'not-cbor' }],
    [
      'no content type',
      async () => seal(await inner(), { protectedHeaders: [] }),
      { step: 'decryption', code: 'content-type-differs' },
    ],
    [
      'the content type unprotected',
      async () => seal(await inner(), { protectedHeaders: [], unprotectedHeaders: [[3, 96]] }),
      { code: 'content-type-differs' },
    ],
    [
      'the content type of the other kind',
      async () => seal(await inner(), { protectedHeaders: [[3, 16]] }),
      { code: 'content-type-differs' },
    ],
    [
      'an inner signature',
      async () => seal(await seal(PLAINTEXT)),
      { step: 'decryption', code: 'not-encrypted' },
    ],
    [
      'AES-CTR inside',
      async () => seal(await sealEncrypt({ ...toDevice, algorithm: A128CTR, plaintext: PLAINTEXT })),
      { code: 'alg-not-permitted' },
    ],
    [
      'an algorithm not permitted',
      async () => seal(await sealEncrypt({ ...toDevice, algorithm: A256GCM, plaintext: PLAINTEXT })),
      { code: 'alg-not-permitted' },
    ],
    [
      'another recipient',
      async () =>
        seal(
          await sealEncrypt({
            ...toDevice,
            recipients: [heldWrappingKey(new Uint8Array(16))],
            plaintext: PLAINTEXT,
          }),
        ),
      { code: 'recipient-absent' },
    ],
  ])('%s', async (_, make, expected) => {
    expect(openMessage(await make(), options)).toMatchObject({ ok: false, ...expected });
  });
  it('a kind that no key is held for', async () => {
    const { shared: _, ...withoutShared } = options;
    const message = await encryptMessage({ ...parts, encryption: { shared } });
    expect(openMessage(message, withoutShared)).toMatchObject({
      step: 'decryption',
      code: 'content-key-absent',
    });
  });
  it('a MAC with another key', async () => {
    const other = heldMacKey(fromUtf8('c'), new Uint8Array(32));
    const bytes = await sealMac0(other, {
      payload: await inner(),
      attached: true,
      protectedHeaders: [[3, 96]],
    });
    expect(openMessage(bytes, options)).toMatchObject({ step: 'authenticity', code: 'mac-wrong' });
  });
});
