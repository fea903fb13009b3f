/** Core deterministic encoding, RFC 8949 section 4.2.1. Values of Appendix A unless said otherwise. */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { CborEncoded, CborMap, CborTag, type CborValue, encode, encodeHead } from '../../src/cbor/index.ts';

const hexOf = (value: CborValue) => toHex(encode(value));

describe('RFC 8949 Appendix A: values to bytes', () => {
  it.each<[CborValue, string]>([
    [0, '00'],
    [23, '17'],
    [24, '1818'],
    [255, '18ff'],
    [256, '190100'],
    [1000, '1903e8'],
    [65535, '19ffff'],
    [65536, '1a00010000'],
    [4294967295, '1affffffff'],
    [4294967296, '1b0000000100000000'],
    [1000000000000, '1b000000e8d4a51000'],
    [2 ** 53 - 1, '1b001fffffffffffff'],
    [18446744073709551615n, '1bffffffffffffffff'],
    [-18446744073709551616n, '3bffffffffffffffff'],
    [-1, '20'],
    [-10, '29'],
    [-100, '3863'],
    [-1000, '3903e7'],
    [5n, '05'],
    [-5n, '24'],
    [1.1, 'fb3ff199999999999a'],
    [1.5, 'f93e00'],
    [-4.1, 'fbc010666666666666'],
    [2 ** -24, 'f90001'],
    [0.00006103515625, 'f90400'],
    [false, 'f4'],
    [true, 'f5'],
    [null, 'f6'],
    [new CborTag(0, '2013-03-21T20:04:00Z'), 'c074323031332d30332d32315432303a30343a30305a'],
    [new CborTag(24, fromHex('6449455446')), 'd818456449455446'],
    [fromHex(''), '40'],
    [fromHex('01020304'), '4401020304'],
    ['', '60'],
    ['"\\', '62225c'],
    ['\u6c34', '63e6b0b4'],
    ['\ud800\udd51', '64f0908591'],
    [[], '80'],
    [[1, [2, 3], [4, 5]], '8301820203820405'],
    [
      Array.from({ length: 25 }, (_, i) => i + 1),
      '98190102030405060708090a0b0c0d0e0f101112131415161718181819',
    ],
    [new CborMap([]), 'a0'],
    [
      new CborMap([
        [1, 2],
        [3, 4],
      ]),
      'a201020304',
    ],
    [
      new CborMap([
        ['a', 1],
        ['b', [2, 3]],
      ]),
      'a26161016162820203',
    ],
    [['a', new CborMap([['b', 'c']])], '826161a161626163'],
  ])('%# gives its bytes', (value, hex) => expect(hexOf(value)).toBe(hex));
});

describe('RFC 8949 4.2.1: floats in the shortest of three widths (values worked out by hand)', () => {
  it.each<[number, string]>([
    [0.5, 'f93800'],
    [2 ** -24 * 1023, 'f903ff'],
    [2 ** -25, 'fa33000000'],
    [1.0009765625, 'f93c01'],
    [1.00048828125, 'fa3f801000'],
    [2 ** -149, 'fa00000001'],
    [2 ** -150, 'fb3690000000000000'],
    [-0.3333333333333333, 'fbbfd5555555555555'],
  ])('%f gives %s', (value, hex) => expect(hexOf(value)).toBe(hex));
});

describe('RFC 8949 4.2.1: maps', () => {
  it('keys go out in bytewise order, whatever order they came in (the example of 4.2.1)', () => {
    const keys: CborValue[] = [false, [-1], [100], 'aa', 'z', -1, 100, 10];
    expect(hexOf(new CborMap(keys.map((key) => [key, 0])))).toBe(
      'a80a001864002000617a006261610081186400812000f400',
    );
  });
  it('the same key twice is wrong use, in whatever type it comes', () => {
    expect(() =>
      encode(
        new CborMap([
          [1, 0],
          [1n, 0],
        ]),
      ),
    ).toThrow(TypeError);
    expect(() =>
      encode(
        new CborMap([
          [fromHex('01'), 0],
          [Buffer.from([1]), 0],
        ]),
      ),
    ).toThrow(TypeError);
  });
  it('an encoded item goes out as it is, as key and as value', () => {
    expect(
      hexOf(
        new CborMap([
          [2, new CborEncoded(fromHex('820102'))],
          [new CborEncoded(fromHex('01')), 0],
        ]),
      ),
    ).toBe('a2010002820102');
  });
});

describe('wrong use is a TypeError', () => {
  const wrong: [string, unknown][] = [
    ['NaN', Number.NaN],
    ['infinity', Number.POSITIVE_INFINITY],
    ['a whole number beyond 2^53-1', 2 ** 53],
    ['a negative one', -(2 ** 53) - 2],
    ['a bigint beyond 64 bits', 2n ** 64n],
    ['a negative one', -(2n ** 64n) - 1n],
    ['a lone surrogate', 'a\ud800'],
    ['undefined', undefined],
    ['a plain object', { a: 1 }],
    ['a Map', new Map()],
    ['a function', () => 1],
    ['a hole in an array', [undefined]],
    ['a tag that is no number', new CborTag(-1, 0)],
  ];
  it.each(wrong)('%s', (_, value) => expect(() => encode(value as CborValue)).toThrow(TypeError));
  it.each([
    [8, 0],
    [-1, 0],
    [0, -1],
    [0, 1.5],
    [0, 2 ** 53],
    [0, 2n ** 64n],
  ])('encodeHead(%s, %s)', (major, argument) => expect(() => encodeHead(major, argument)).toThrow(TypeError));
});

describe('encodeHead: every width in every major type', () => {
  it.each([
    [2, 23, '57'],
    [2, 24, '5818'],
    [3, 256, '790100'],
    [4, 65536, '9a00010000'],
    [5, 2n ** 32n, 'bb0000000100000000'],
    [6, 2n ** 64n - 1n, 'dbffffffffffffffff'],
    [2, 2 ** 31, '5a80000000'],
    [2, 2 ** 40, '5b0000010000000000'],
  ] as const)('%i, %s: %s', (major, argument, hex) => expect(toHex(encodeHead(major, argument))).toBe(hex));
});
