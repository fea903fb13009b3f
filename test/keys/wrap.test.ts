import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { unwrapKey, wrapKey } from '../../src/keys/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import { codeOf, failureOf } from './support.ts';

const KEK = fromHex('000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f');

describe('RFC 3394 4: AES key wrap examples', () => {
  it('4.6: 256 bits of key data with a 256-bit KEK', () => {
    const data = fromHex('00112233445566778899aabbccddeeff000102030405060708090a0b0c0d0e0f');
    const wrapped = '28c9f404c4b810f4cbccb35cfb87f8263f5786e2d80ed326cbc7f0e71a99f43bfb988b9b7a02dd21';
    expect(toHex(wrapKey(KEK, data))).toBe(wrapped);
    expect(unwrapKey(KEK, fromHex(wrapped))).toEqual(data);
  });

  it('4.1: 128 bits of key data with a 128-bit KEK', () => {
    const data = fromHex('00112233445566778899aabbccddeeff');
    const wrapped = wrapKey(KEK.subarray(0, 16), data);
    expect(toHex(wrapped)).toBe('1fa68b0a8112b447aef34bd8fb5a7b829d3e862371d2cfe5');
    expect(unwrapKey(KEK.subarray(0, 16), wrapped)).toEqual(data);
  });
});

describe('RFC 3394 2.2: what is not a wrapped key', () => {
  const wrapped = wrapKey(KEK, new Uint8Array(32).fill(1));

  it.each([0, 8, 16, 23, 25, 39, 41])('refuses %i bytes by their length', async (length) => {
    expect(await codeOf(() => unwrapKey(KEK, new Uint8Array(length)))).toBe('wrap-input');
  });

  it.each([0, 8, 15, 17, 31])('refuses to wrap %i bytes', async (length) => {
    expect(await codeOf(() => wrapKey(KEK, new Uint8Array(length)))).toBe('wrap-input');
  });

  it.each([0, 15, 31, 33])('refuses a KEK of %i bytes', async (length) => {
    expect(await codeOf(() => wrapKey(new Uint8Array(length), new Uint8Array(32)))).toBe('wrap-input');
  });

  it('2.2.3: says in plain words that a wrapping was changed or made under another key', async () => {
    const error = await failureOf(() => unwrapKey(new Uint8Array(32), wrapped));
    expect(error.code).toBe('wrap-changed');
    expect(error.message).toContain('changed');
  });

  it('finds every changed bit', () => {
    fc.assert(
      fc.property(fc.nat(wrapped.length * 8 - 1), (bit) => {
        const changed = wrapped.slice();
        changed[bit >> 3]! ^= 1 << (bit & 7);
        expect(() => unwrapKey(KEK, changed)).toThrow('changed');
      }),
    );
  });

  it('gives back what was wrapped, for every length allowed', () => {
    const keyData = fc
      .integer({ min: 2, max: 16 })
      .chain((n) => fc.uint8Array({ minLength: 8 * n, maxLength: 8 * n }));
    fc.assert(
      fc.property(keyData, (data) => {
        expect(unwrapKey(KEK, wrapKey(KEK, data))).toEqual(data);
      }),
    );
  });
});

describe.skipIf(!vectorsPresent)('published vectors (shared folder)', () => {
  it('RFC 3394 4: every example', () => {
    const { cases } = vectors('rfc3394-aes-kw');
    for (const { kekHex, keyDataHex, wrappedHex } of cases) {
      expect(toHex(wrapKey(fromHex(kekHex), fromHex(keyDataHex)))).toBe(wrappedHex);
      expect(toHex(unwrapKey(fromHex(kekHex), fromHex(wrappedHex)))).toBe(keyDataHex);
    }
    expect(cases.length).toBeGreaterThan(0);
  });

  it('Project Wycheproof aes_wrap_test: valid ones open, invalid ones are refused', () => {
    let judged = 0;
    for (const group of vectors('wycheproof-aes-kw').testGroups) {
      for (const test of group.tests) {
        if (test.result === 'acceptable') continue;
        expect({ tcId: test.tcId, opens: opens(test) }).toEqual({
          tcId: test.tcId,
          opens: test.result === 'valid',
        });
        judged++;
      }
    }
    expect(judged).toBeGreaterThan(0);
  });
});

function opens(test: { key: string; msg: string; ct: string }): boolean {
  try {
    return toHex(unwrapKey(fromHex(test.key), fromHex(test.ct))) === test.msg;
  } catch {
    return false;
  }
}
