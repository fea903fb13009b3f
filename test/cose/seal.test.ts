/** Sealing: RFC 9052 sections 4.2, 4.4, 6.2, 6.3; keys are made for the test, bytes of the structure by hand. */
import { describe, expect, it } from 'vitest';
import { fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import { decode } from '../../src/cbor/index.ts';
import {
  decodeCose,
  heldMacKey,
  LABEL,
  type Mac0Message,
  type Sign1Message,
  type Signer,
  sealMac0,
  sealSign1,
  signatureAlgorithm,
  verifyMac0,
  verifySign1,
} from '../../src/cose/index.ts';
import { readPublicKey } from '../../src/crypto/index.ts';
import { freshSigner } from './keys.ts';

const PAYLOAD = fromHex(`822f5820${'ab'.repeat(32)}`);
const TEST_MAC_KEY = new Uint8Array(32).fill(7);

describe('RFC 9052 4.2, 4.4: COSE_Sign1', () => {
  it.each(['ESP256', 'Ed25519'] as const)(
    '%s: sealed, read, verified, nothing of the payload inside',
    async (name) => {
      const signer = freshSigner(name);
      const bytes = await sealSign1(signer, {
        payload: PAYLOAD,
        protectedHeaders: [[LABEL.x5t, [-16, new Uint8Array(32)]]],
        unprotectedHeaders: [[LABEL.x5chain, fromHex('3000')]],
      });
      const message = decodeCose(bytes, { requireTag: true }) as Sign1Message;
      expect(message).toMatchObject({ kind: 'sign1', tag: 18, payload: null });
      expect(message.headers.protectedGet(LABEL.alg)).toMatchObject({ value: signer.algorithm.id });
      expect(verifySign1(message, readPublicKey(signer.publicKey)!, PAYLOAD)).toEqual({
        ok: true,
        algorithm: signer.algorithm,
      });
      expect(toHex(bytes)).not.toContain(toHex(PAYLOAD));
    },
  );
  it('what the custody signs is the Sig_structure, byte for byte', async () => {
    const signer = freshSigner('Ed25519');
    let signed = '';
    const watched: Signer = {
      ...signer,
      sign: (message) => {
        signed = toHex(message);
        return signer.sign(message);
      },
    };
    await sealSign1(watched, { payload: fromUtf8('pay'), externalAad: fromHex('aa') });
    expect(signed).toBe(`846a${toHex(fromUtf8('Signature1'))}43a1013241aa43${toHex(fromUtf8('pay'))}`);
  });
  it('external data must be given again to verify (4.3)', async () => {
    const signer = freshSigner('ESP256');
    const externalAad = fromUtf8('context');
    const bytes = await sealSign1(signer, { payload: PAYLOAD, externalAad });
    const message = decodeCose(bytes) as Sign1Message;
    const key = readPublicKey(signer.publicKey)!;
    expect(verifySign1(message, key, PAYLOAD, { externalAad }).ok).toBe(true);
    expect(verifySign1(message, key, PAYLOAD)).toMatchObject({ ok: false, code: 'signature-wrong' });
  });
  it.each(['ES256', 'EdDSA'] as const)('%s is checked, never sealed (RFC 9864 4.2.2)', async (name) => {
    expect(signatureAlgorithm(name)!.status).toBe('legacy');
    await expect(sealSign1(freshSigner(name), { payload: PAYLOAD })).rejects.toThrow(TypeError);
  });
  it('a signature that the public key does not verify is never handed out', async () => {
    const good = freshSigner('ESP256');
    const others = freshSigner('ESP256');
    const faulty: Signer[] = [
      { ...good, publicKey: others.publicKey },
      { ...good, publicKey: freshSigner('Ed25519').publicKey },
      { ...good, publicKey: fromHex('00') },
      { ...good, sign: async () => new Uint8Array(64) },
      { ...good, sign: async (message) => (await good.sign(message)).subarray(0, 63) },
    ];
    for (const signer of faulty) {
      await expect(sealSign1(signer, { payload: PAYLOAD })).rejects.toThrow('nothing was sealed');
    }
  });
  it('labels given twice are wrong use, alg among them', async () => {
    const signer = freshSigner('Ed25519');
    const parts = { payload: PAYLOAD };
    await expect(sealSign1(signer, { ...parts, protectedHeaders: [[1, -9]] })).rejects.toThrow(TypeError);
    await expect(sealSign1(signer, { ...parts, unprotectedHeaders: [[1, -9]] })).rejects.toThrow(TypeError);
    const both = {
      protectedHeaders: [[4, fromHex('00')]],
      unprotectedHeaders: [[4, fromHex('00')]],
    } as const;
    await expect(sealSign1(signer, { ...parts, ...both })).rejects.toThrow(TypeError);
  });
  it('a failing custody is reported, not turned into a message', async () => {
    const signer = { ...freshSigner('Ed25519'), sign: () => Promise.reject(new Error('token removed')) };
    await expect(sealSign1(signer, { payload: PAYLOAD })).rejects.toThrow('token removed');
  });
});

describe('RFC 9052 6.2, 6.3: COSE_Mac0', () => {
  const key = heldMacKey(fromUtf8('cohort-a'), TEST_MAC_KEY);

  it('is sealed with the key id as unprotected kid, read and verified', async () => {
    const bytes = await sealMac0(key, { payload: PAYLOAD });
    const message = decodeCose(bytes, { requireTag: true }) as Mac0Message;
    expect(message).toMatchObject({ kind: 'mac0', tag: 17, payload: null });
    expect(message.headers.entries).toMatchObject([
      { label: LABEL.alg, isProtected: true, value: { value: 5 } },
      { label: LABEL.kid, isProtected: false, value: { value: fromUtf8('cohort-a') } },
    ]);
    expect(verifyMac0(message, TEST_MAC_KEY, PAYLOAD)).toMatchObject({ ok: true, algorithm: { id: 5 } });
  });
  it('a kid that the caller places stays where it is', async () => {
    const bytes = await sealMac0(key, { payload: PAYLOAD, protectedHeaders: [[LABEL.kid, fromHex('01')]] });
    expect(decodeCose(bytes).headers.protectedGet(LABEL.kid)).toMatchObject({ value: fromHex('01') });
  });
  it('is deterministic: same key, same payload, same bytes', async () => {
    expect(await sealMac0(key, { payload: PAYLOAD })).toEqual(await sealMac0(key, { payload: PAYLOAD }));
  });
  it('RFC 9053 3.1: a key shorter than 32 bytes is refused', () => {
    expect(() => heldMacKey(fromHex('00'), new Uint8Array(31))).toThrow(TypeError);
    expect(() => heldMacKey(fromHex('00'), new Uint8Array(0))).toThrow(/too short/);
  });
  it('a tag of another length is never handed out', async () => {
    const short = { ...key, mac: async () => new Uint8Array(16) };
    await expect(sealMac0(short, { payload: PAYLOAD })).rejects.toThrow('nothing was sealed');
  });
  it('output is deterministic CBOR (RFC 8949 4.2.1)', async () => {
    const bytes = await sealMac0(key, {
      payload: PAYLOAD,
      unprotectedHeaders: [
        ['z', 1],
        [-70000, 2],
        [35000, 3],
      ],
    });
    expect(decode(bytes).end).toBe(bytes.length);
  });
});
