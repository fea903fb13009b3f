/**
 * COSE_Sign1, COSE_Mac0 and COSE_Encrypt0 both ways with a library that shares no code with this project: `@auth0/cose`
 * (its own CBOR, WebCrypto underneath). It knows ES256 and EdDSA by their older numbers only (RFC 9053 section 2), so what
 * it verifies carries those: apart from the number, all that is sealed here for ESP256 and Ed25519.
 */

import { generateKeyPairSync, type KeyObject, sign } from 'node:crypto';
import { Encrypt0, EncryptionAlgorithms, Headers, Mac0, MacAlgorithms, Sign1 } from '@auth0/cose';
import { describe, expect, it } from 'vitest';
import { fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import {
  type AeadAlgorithm,
  contentAlgorithm,
  decodeCose,
  decodeEncrypted,
  decryptWhole,
  type Encrypt0Message,
  heldMacKey,
  type Mac0Message,
  openEncrypt0,
  type SharedContentKey,
  type Sign1Message,
  type Signer,
  sealEncrypt0,
  sealMac0,
  sealSign1,
  signatureAlgorithm,
  verifyMac0,
  verifySign1,
} from '../../src/cose/index.ts';
import { readPublicKey } from '../../src/crypto/index.ts';

/** A SUIT_Digest as it is signed, and another one. */
const PAYLOAD = fromHex('822f5820037a5c325ce14078a0aadf007428eac659361ad9402a732410bda542fae94e2c');
const OTHER = fromHex('822f5820f6d44a62ec906b392500c242e78e908e9cc5057f3f04104a06a8566200da2ee0');
const KEY_ID = fromUtf8('line-1');
const MAC_KEY = new Uint8Array(32).fill(0x5a);

interface Pair {
  privateKey: KeyObject;
  publicKey: KeyObject;
}

const spkiOf = ({ publicKey }: Pair) => new Uint8Array(publicKey.export({ format: 'der', type: 'spki' }));
const keyOf = (pair: Pair) => readPublicKey(spkiOf(pair))!;

/** Signs as ours do, under the number that the library knows. */
function signerOf(pair: Pair, legacyId: number): Signer {
  const algorithm = { ...signatureAlgorithm(legacyId)!, status: 'current' as const };
  const options = { key: pair.privateKey, dsaEncoding: 'ieee-p1363' } as const;
  const hash = algorithm.keyType === 'p256' ? 'sha256' : null;
  return {
    algorithm,
    publicKey: spkiOf(pair),
    sign: async (message) => new Uint8Array(sign(hash, message, options)),
  };
}

describe.each([
  ['ES256', -7, () => generateKeyPairSync('ec', { namedCurve: 'P-256' })],
  ['EdDSA', -8, () => generateKeyPairSync('ed25519')],
] as const)('RFC 9052 4.2, 4.4: COSE_Sign1 with %s (%i)', (_name, id, generate) => {
  const pair: Pair = generate();
  const parts = { payload: PAYLOAD, unprotectedHeaders: [[4, KEY_ID]] } as const;

  it('ours, payload detached, verifies there, over this payload and external data only', async () => {
    const external = { externalAad: fromHex('00ff') };
    const bytes = await sealSign1(signerOf(pair, id), { ...parts, ...external });
    const read = Sign1.decode(bytes);
    const given = { detachedPayload: PAYLOAD, externalAAD: external.externalAad };
    await expect(read.verify(pair.publicKey, given)).resolves.toBeUndefined();
    await expect(read.verify(pair.publicKey, { ...given, detachedPayload: OTHER })).rejects.toThrow();
    await expect(read.verify(pair.publicKey, { detachedPayload: PAYLOAD })).rejects.toThrow();
    await expect(read.verify(generate().publicKey, given)).rejects.toThrow();
  });

  it('ours, payload attached, verifies there', async () => {
    const read = Sign1.decode(await sealSign1(signerOf(pair, id), { ...parts, attached: true }));
    expect(toHex(read.payload)).toBe(toHex(PAYLOAD));
    await expect(read.verify(pair.publicKey)).resolves.toBeUndefined();
  });

  it('theirs verifies here, over its payload and under its key only', async () => {
    const made = await Sign1.sign(
      [[Headers.Algorithm, id]],
      [[Headers.KeyID, KEY_ID]],
      PAYLOAD,
      pair.privateKey,
    );
    const message = decodeCose(new Uint8Array(made.encode())) as Sign1Message;
    expect(message.headers.get(4)).toMatchObject({ type: 'bytes', value: KEY_ID });
    expect(verifySign1(message, keyOf(pair), PAYLOAD)).toMatchObject({ ok: true, algorithm: { id } });
    expect(verifySign1(message, keyOf(pair), OTHER)).toMatchObject({ code: 'payload-differs' });
    expect(verifySign1(message, keyOf(generate()), PAYLOAD)).toMatchObject({ code: 'signature-wrong' });
  });
});

describe('RFC 9052 6.2, 6.3: COSE_Mac0 with HMAC 256/256', () => {
  it('ours verifies there, over this payload and under this key only', async () => {
    const read = Mac0.decode(await sealMac0(heldMacKey(KEY_ID, MAC_KEY), { payload: PAYLOAD }));
    await expect(read.verify(MAC_KEY, { detachedPayload: PAYLOAD })).resolves.toBeUndefined();
    await expect(read.verify(MAC_KEY, { detachedPayload: OTHER })).rejects.toThrow();
    await expect(read.verify(new Uint8Array(32), { detachedPayload: PAYLOAD })).rejects.toThrow();
  });

  it('theirs verifies here, over its payload and under its key only', async () => {
    const made = await Mac0.create(
      [[Headers.Algorithm, MacAlgorithms.HS256]],
      [[4, KEY_ID]],
      PAYLOAD,
      MAC_KEY,
    );
    const message = decodeCose(new Uint8Array(made.encode())) as Mac0Message;
    expect(verifyMac0(message, MAC_KEY, PAYLOAD)).toMatchObject({ ok: true });
    expect(verifyMac0(message, MAC_KEY, OTHER)).toMatchObject({ code: 'payload-differs' });
    expect(verifyMac0(message, new Uint8Array(32), PAYLOAD)).toMatchObject({ code: 'mac-wrong' });
  });
});

describe.each([
  ['A128GCM', EncryptionAlgorithms.A128GCM, 16],
  ['A256GCM', EncryptionAlgorithms.A256GCM, 32],
])('RFC 9052 5.2, 5.3: COSE_Encrypt0 with %s', (_name, id, keyLength) => {
  const algorithm = contentAlgorithm(id) as AeadAlgorithm;
  const key = new Uint8Array(keyLength).fill(7);
  const shared: SharedContentKey = { algorithm, key, keyId: KEY_ID };
  const external = fromHex('aa55');

  it('ours decrypts there, with these external data only', async () => {
    const read = Encrypt0.decode(sealEncrypt0(shared, { plaintext: PAYLOAD, externalAad: external }));
    expect(toHex(await read.decrypt(key, { externalAAD: external }))).toBe(toHex(PAYLOAD));
    await expect(read.decrypt(key)).rejects.toThrow();
  });

  it('theirs decrypts here, with its external data only', async () => {
    const headers = [[Headers.IV, fromHex('000102030405060708090a0b')]] as [Headers.IV, Uint8Array][];
    const made = await Encrypt0.encrypt([[Headers.Algorithm, id]], headers, PAYLOAD, key, external);
    const message = decodeEncrypted(new Uint8Array(made.encode())) as Encrypt0Message;
    const open = (externalAad: Uint8Array) => {
      const opened = openEncrypt0(message, shared, { algorithms: [algorithm], externalAad });
      return opened.ok ? decryptWhole(opened.content, message.ciphertext!) : opened;
    };
    expect(open(external)).toEqual({ ok: true, plaintext: PAYLOAD });
    expect(open(fromHex('aa'))).toMatchObject({ code: 'ciphertext-changed' });
  });
});
