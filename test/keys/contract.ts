/**
 * What every Signer and every MacKey must do, whatever custody is behind it. One suite, run over all of them.
 */
import { createHmac, createPublicKey, verify } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { type MacKey, type Signer, sealMac0, sealSign1 } from '../../src/cose/index.ts';
import { readPublicKey, verifySignature } from '../../src/crypto/index.ts';

const MESSAGES = [new Uint8Array(0), new Uint8Array([1]), new Uint8Array(4096).fill(0xa5)];

/** `make` gives the signer under test; it is called once the suite's hooks have run. */
export function signerContract(title: string, make: () => Signer): void {
  describe(`Signer contract: ${title}`, () => {
    it('names an algorithm that is current and fits its public key (RFC 9864)', () => {
      const { algorithm, publicKey } = make();
      expect(algorithm.status).toBe('current');
      expect(readPublicKey(publicKey)?.type).toBe(algorithm.keyType);
    });

    it.each(MESSAGES.map((message) => [message.length, message] as const))(
      'RFC 9053 2: signs %i bytes with a raw signature of 64 that verifies over the message',
      async (_, message) => {
        const signer = make();
        const signature = await signer.sign(message);
        expect(signature).toBeInstanceOf(Uint8Array);
        expect(signature).toHaveLength(signer.algorithm.signatureLength!);
        expect(verifySignature(readPublicKey(signer.publicKey)!, message, signature)).toBe(true);
        expect(
          verifySignature(readPublicKey(signer.publicKey)!, Uint8Array.of(...message, 0), signature),
        ).toBe(false);
      },
    );

    it('its signatures verify with node:crypto alone', async () => {
      const signer = make();
      const message = MESSAGES[2]!;
      const key = createPublicKey({ key: Buffer.from(signer.publicKey), format: 'der', type: 'spki' });
      const hash = signer.algorithm.keyType === 'p256' ? 'sha256' : null;
      const signature = await signer.sign(message);
      expect(verify(hash, message, { key, dsaEncoding: 'ieee-p1363' }, signature)).toBe(true);
    });

    it('signs several messages at once without mixing them up', async () => {
      const signer = make();
      const messages = Array.from({ length: 8 }, (_, i) => new Uint8Array(32).fill(i));
      const signatures = await Promise.all(messages.map((message) => signer.sign(message)));
      const key = readPublicKey(signer.publicKey)!;
      for (const [i, signature] of signatures.entries()) {
        expect(verifySignature(key, messages[i]!, signature)).toBe(true);
      }
    });

    it('leaves the message as it was', async () => {
      const message = new Uint8Array(32).fill(7);
      await make().sign(message);
      expect(message).toEqual(new Uint8Array(32).fill(7));
    });
  });
}

/** `secret`: the key's bytes where they are known, to compare with node:crypto. */
export function macKeyContract(title: string, make: () => MacKey, secret?: () => Uint8Array): void {
  describe(`MacKey contract: ${title}`, () => {
    it('RFC 9053 3.1: is HMAC 256/256 with a whole tag of 32 bytes, equal for equal messages only', async () => {
      const key = make();
      expect(key.algorithm.id).toBe(5);
      const tag = await key.mac(MESSAGES[2]!);
      expect(tag).toBeInstanceOf(Uint8Array);
      expect(tag).toHaveLength(key.algorithm.tagLength);
      expect(await key.mac(MESSAGES[2]!)).toEqual(tag);
      expect(await key.mac(MESSAGES[1]!)).not.toEqual(tag);
    });

    it('its key id is its check value, 8 bytes of HMAC over a fixed text', async () => {
      const key = make();
      const whole = await key.mac(Buffer.from('fieldseal check value'));
      expect(key.keyId).toEqual(whole.slice(0, 8));
    });

    it('MACs several messages at once without mixing them up', async () => {
      const key = make();
      const messages = Array.from({ length: 8 }, (_, i) => new Uint8Array(16).fill(i));
      const together = await Promise.all(messages.map((message) => key.mac(message)));
      for (const [i, tag] of together.entries()) expect(await key.mac(messages[i]!)).toEqual(tag);
    });

    if (secret) {
      it('RFC 2104: its tags equal those of node:crypto under the same secret', async () => {
        for (const message of MESSAGES) {
          const expected = createHmac('sha256', secret()).update(message).digest();
          expect(Buffer.from(await make().mac(message)).equals(expected)).toBe(true);
        }
      });
    }
  });
}

/** What a key whose custody fails must do: reject with a coded error, so that nothing is sealed. */
export function failureContract(
  title: string,
  code: string,
  make: () => { signer: Signer; macKey: MacKey },
): void {
  describe(`failing custody: ${title}`, () => {
    const payload = new Uint8Array(36);

    it('its errors are coded and reach whoever seals; no message comes out', async () => {
      const { signer, macKey } = make();
      const failure = { name: 'KeyError', code, hint: expect.stringMatching(/./) };
      await expect(sealSign1(signer, { payload })).rejects.toMatchObject(failure);
      await expect(sealMac0(macKey, { payload })).rejects.toMatchObject(failure);
    });
  });
}
