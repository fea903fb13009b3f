/** AES-CTR, AEAD and AES key wrap: worked examples inline, published vector files where they are at hand. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { concat, fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import {
  type AeadName,
  startAeadOpen,
  startAeadSeal,
  startAesCtr,
  unwrapKeyData,
  wrapKeyData,
} from '../../src/crypto/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

const ctr = (key: string, counter: string, text: string) =>
  toHex(startAesCtr(fromHex(key), fromHex(counter)).update(fromHex(text)));

interface AeadVector {
  key: string;
  iv: string;
  aad: string;
  msg: string;
  ct: string;
  tag: string;
}

/** Encrypts, `ciphertext || tag`. */
function seal(name: AeadName, { key, iv, aad, msg }: AeadVector, pieceSize = 1 << 20): string {
  const running = startAeadSeal(name, fromHex(key), fromHex(iv), fromHex(aad));
  const pieces = piecesOf(fromHex(msg), pieceSize).map((piece) => running.update(piece));
  return toHex(concat(...pieces, running.tag()));
}

/** The plaintext where the tag fits. */
function open(
  name: AeadName,
  { key, iv, aad, ct, tag }: AeadVector,
  pieceSize = 1 << 20,
): string | undefined {
  const running = startAeadOpen(name, fromHex(key), fromHex(iv), fromHex(aad));
  const pieces = piecesOf(fromHex(ct), pieceSize).map((piece) => running.update(piece));
  return running.verify(fromHex(tag)) ? toHex(concat(...pieces)) : undefined;
}

/** What kind of case it was, its outcome asserted. */
function judge(name: AeadName, ivSize: number, test: AeadVector & { tcId: number; result: string }) {
  const title = `tcId ${test.tcId}`;
  if (ivSize !== 96) {
    expect(() => open(name, test), title).toThrow(RangeError);
    return 'otherNonce';
  }
  if (test.result === 'acceptable') {
    expect([test.msg, undefined], title).toContain(open(name, test));
    return 'acceptable';
  }
  const valid = test.result === 'valid';
  expect(open(name, test), title).toBe(valid ? test.msg : undefined);
  if (valid) expect(seal(name, test), title).toBe(test.ct + test.tag);
  return valid ? 'valid' : 'invalid';
}

function piecesOf(bytes: Uint8Array, size: number): Uint8Array[] {
  const count = Math.ceil(bytes.length / size);
  return Array.from({ length: count }, (_, i) => bytes.subarray(i * size, (i + 1) * size));
}

describe('NIST SP 800-38A F.5.1 and F.5.5: AES in counter mode', () => {
  const counter = 'f0f1f2f3f4f5f6f7f8f9fafbfcfdfeff';
  const text = '6bc1bee22e409f96e93d7e117393172aae2d8a571e03ac9c9eb76fac45af8e51';
  it('AES-128: the first two blocks', () => {
    expect(ctr('2b7e151628aed2a6abf7158809cf4f3c', counter, text)).toBe(
      '874d6191b620e3261bef6864990db6ce9806f66b7970fdff8617187bb9fffdff',
    );
  });
  it('AES-256: the first two blocks', () => {
    const key = '603deb1015ca71be2b73aef0857d77811f352c073b6108d72d9810a30914dff4';
    expect(ctr(key, counter, text)).toBe('601ec313775789a5b7a7f504bbf3d228f443e3ca4d62b59aca84e990cacaf5c5');
  });
  it('B.1: the counter is one number of 128 bits and wraps at its end', () => {
    const key = new Uint8Array(16).fill(7);
    const fromTheEnd = startAesCtr(key, new Uint8Array(16).fill(0xff)).update(new Uint8Array(48));
    const fromZero = startAesCtr(key, new Uint8Array(16)).update(new Uint8Array(32));
    expect(fromTheEnd.subarray(16)).toEqual(fromZero);
    const carried = startAesCtr(key, fromHex('00000000000000ffffffffffffffffff'), 16).update(
      new Uint8Array(16),
    );
    expect(carried).toEqual(
      startAesCtr(key, fromHex('00000000000001000000000000000000')).update(new Uint8Array(16)),
    );
  });
  it('6.5: a message continues at any offset as if it had been read to there', () => {
    const whole = new Uint8Array(200).map((_, i) => i);
    const bytes = (length: number) => fc.uint8Array({ minLength: length, maxLength: length });
    fc.assert(
      fc.property(bytes(32), bytes(16), fc.nat(200), (key, iv, offset) => {
        const expected = startAesCtr(key, iv).update(whole).subarray(offset);
        expect(startAesCtr(key, iv, offset).update(whole.subarray(offset))).toEqual(expected);
      }),
    );
  });
  it('an offset beyond 2^32 blocks counts on', () => {
    const key = new Uint8Array(16);
    const far = startAesCtr(key, new Uint8Array(16), 2 ** 40).update(new Uint8Array(16));
    const counterThere = fromHex('00000000000000000000001000000000');
    expect(far).toEqual(startAesCtr(key, counterThere).update(new Uint8Array(16)));
  });
  it.each([
    ['a key of 15 bytes', 15, 16, 0],
    ['a counter block of 12 bytes', 16, 12, 0],
    ['a negative offset', 16, 16, -1],
    ['half an offset', 16, 16, 0.5],
  ])('%s is wrong use', (_, key, counterLength, offset) => {
    expect(() => startAesCtr(new Uint8Array(key), new Uint8Array(counterLength), offset)).toThrow(RangeError);
  });
});

/** RFC 8439 section 2.8.2. */
const SUNSCREEN: AeadVector = {
  key: '808182838485868788898a8b8c8d8e8f909192939495969798999a9b9c9d9e9f',
  iv: '070000004041424344454647',
  aad: '50515253c0c1c2c3c4c5c6c7',
  msg: toHex(
    fromUtf8(
      "Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the future, sunscreen would be it.",
    ),
  ),
  ct:
    'd31a8d34648e60db7b86afbc53ef7ec2a4aded51296e08fea9e2b5a736ee62d63dbea45e8ca9671282fafb69da92728b1a71de0a9e060b29' +
    '05d6a5b67ecd3b3692ddbd7f2d778b8c9803aee328091b58fab324e4fad675945585808b4831d7bc3ff4def08e4b7a9de576d26586cec64b6116',
  tag: '1ae10b594f09e26a7e902ecbd0600691',
};

/** The GCM specification that SP 800-38D refers to, appendix B, test case 4. */
const GCM_4: AeadVector = {
  key: 'feffe9928665731c6d6a8f9467308308',
  iv: 'cafebabefacedbaddecaf888',
  aad: 'feedfacedeadbeeffeedfacedeadbeefabaddad2',
  msg:
    'd9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a721c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657' +
    'ba637b39',
  ct:
    '42831ec2217774244b7221b784d0d49ce3aa212f2c02a4e035c17e2329aca12e21d514b25466931c7d8f6a5aac84aa051ba30b396a0aac97' +
    '3d58e091',
  tag: '5bc94fbc3221a5db94fae95ae7121a47',
};

describe.each<[string, AeadName, AeadVector]>([
  ['RFC 8439 2.8.2: ChaCha20-Poly1305', 'chacha20-poly1305', SUNSCREEN],
  ['NIST SP 800-38D: AES-128-GCM, test case 4', 'aes-128-gcm', GCM_4],
])('%s', (_, name, example) => {
  it.each([1, 15, 16, 17, 1 << 20])('seals and opens in pieces of %i', (size) => {
    expect(seal(name, example, size)).toBe(example.ct + example.tag);
    expect(open(name, example, size)).toBe(example.msg);
  });
  it.each<keyof AeadVector>(['key', 'iv', 'aad', 'ct', 'tag'])('a changed %s does not open', (field) => {
    const changed = fromHex(example[field]);
    changed[0]! ^= 1;
    expect(open(name, { ...example, [field]: toHex(changed) })).toBeUndefined();
  });
  it('a tag cut short does not open, nor one too long', () => {
    expect(open(name, { ...example, tag: example.tag.slice(0, 24) })).toBeUndefined();
    expect(open(name, { ...example, tag: `${example.tag}00` })).toBeUndefined();
  });
  it('another length of key or nonce is wrong use', () => {
    expect(() => seal(name, { ...example, iv: `${example.iv}00` })).toThrow(RangeError);
    expect(() => open(name, { ...example, key: example.key.slice(2) })).toThrow(RangeError);
  });
});

describe('RFC 3394: AES key wrap', () => {
  const kek = fromHex('000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f');
  const data = fromHex('00112233445566778899aabbccddeeff000102030405060708090a0b0c0d0e0f');
  const wrapped = fromHex('28c9f404c4b810f4cbccb35cfb87f8263f5786e2d80ed326cbc7f0e71a99f43bfb988b9b7a02dd21');
  it('4.6: 256 bits with a 256-bit key', () => {
    expect(wrapKeyData(kek, data)).toEqual(wrapped);
    expect(unwrapKeyData(kek, wrapped)).toEqual(data);
  });
  it('2.2.3: any changed bit and any other key are found', () => {
    fc.assert(
      fc.property(fc.nat(8 * wrapped.length - 1), (bit) => {
        const changed = wrapped.slice();
        changed[bit >> 3]! ^= 1 << (bit & 7);
        expect(unwrapKeyData(kek, changed)).toBeUndefined();
      }),
    );
    expect(unwrapKeyData(kek.subarray(0, 16), wrapped)).toBeUndefined();
  });
  it.each([0, 8, 16, 23, 25, 39, 41])('what has %i bytes is no wrapped key', (length) => {
    expect(unwrapKeyData(kek, new Uint8Array(length))).toBeUndefined();
  });
  it('other lengths of key or key data are wrong use', () => {
    for (const length of [0, 8, 17])
      expect(() => wrapKeyData(kek, new Uint8Array(length))).toThrow(RangeError);
    expect(() => wrapKeyData(kek.subarray(1), data)).toThrow(RangeError);
    expect(() => unwrapKeyData(kek.subarray(1), wrapped)).toThrow(RangeError);
  });
});

describe.skipIf(!vectorsPresent)('published vector files', () => {
  it('NIST SP 800-38A F.5, RFC 3686 6: every case', () => {
    const { cases } = vectors('aes-ctr');
    for (const each of cases) {
      expect(ctr(each.keyHex, each.counterBlockHex, each.plaintextHex), each.id).toBe(each.ciphertextHex);
    }
    expect(cases.length).toBeGreaterThan(0);
  });

  it('RFC 8439 2.8.2, RFC 3394 4: every case', () => {
    for (const each of vectors('rfc8439-chacha20-poly1305').cases) {
      const vector = { key: each.keyHex, iv: each.nonceHex, aad: each.aadHex, msg: each.plaintextHex };
      const whole = { ...vector, ct: each.ciphertextHex, tag: each.tagHex };
      expect(seal('chacha20-poly1305', whole)).toBe(whole.ct + whole.tag);
      expect(open('chacha20-poly1305', whole)).toBe(whole.msg);
    }
    for (const { kekHex, keyDataHex, wrappedHex } of vectors('rfc3394-aes-kw').cases) {
      expect(toHex(wrapKeyData(fromHex(kekHex), fromHex(keyDataHex)))).toBe(wrappedHex);
      expect(toHex(unwrapKeyData(fromHex(kekHex), fromHex(wrappedHex))!)).toBe(keyDataHex);
    }
  });

  it.each([
    ['wycheproof-aes-gcm', (keySize: number) => `aes-${keySize}-gcm` as AeadName],
    ['wycheproof-chacha20-poly1305', () => 'chacha20-poly1305' as AeadName],
  ])('%s: nonces of 96 bits are judged, every other length is refused', (file, nameOf) => {
    const judged: string[] = [];
    for (const { ivSize, keySize, tests } of vectors(file).testGroups) {
      for (const test of tests) judged.push(judge(nameOf(keySize), ivSize, test));
    }
    expect(judged.filter((kind) => kind !== 'otherNonce').length).toBeGreaterThan(0);
  });

  it('wycheproof-aes-kw: valid ones open to their key data, invalid ones do not open', () => {
    let judged = 0;
    for (const { tests } of vectors('wycheproof-aes-kw').testGroups) {
      for (const { tcId, key, msg, ct, result } of tests) {
        if (result === 'acceptable') continue;
        const opened = unwrapKeyData(fromHex(key), fromHex(ct));
        expect(opened && toHex(opened), `tcId ${tcId}`).toBe(result === 'valid' ? msg : undefined);
        if (result === 'valid') expect(toHex(wrapKeyData(fromHex(key), fromHex(msg)))).toBe(ct);
        judged++;
      }
    }
    expect(judged).toBeGreaterThan(0);
  });
});
