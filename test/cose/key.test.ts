/** COSE_Key: RFC 9052 section 7, RFC 9053 section 7. The P-256 key is RFC 9052 Appendix C.7.1's "11". */
import { describe, expect, it } from 'vitest';
import { fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import { CborMap, type CborValue, decode, encode } from '../../src/cbor/index.ts';
import { CoseError, type CoseErrorCode, readCoseKey } from '../../src/cose/index.ts';

/** As published in the working group's examples, key "11". */
const X = fromHex('bac5b11cad8f99f9c72b05cf4b9e26d244dc189f745228255a219a86d6a09eff');
const Y = fromHex('20138bf82dc1b6d562be0fa54ab7804a3a64b6d72ccfed6b6fb6ed28bbfc117e');
const SPKI = `3059301306072a8648ce3d020106082a8648ce3d03010703420004${toHex(X)}${toHex(Y)}`;
/** RFC 8032 section 7.1, TEST 1. */
const ED25519 = fromHex('d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a');

type Pairs = [CborValue, CborValue][];
const read = (pairs: Pairs) => readCoseKey(decode(encode(new CborMap(pairs))));

function codeOf(pairs: Pairs): CoseErrorCode | 'read' {
  try {
    read(pairs);
    return 'read';
  } catch (error) {
    if (error instanceof CoseError) return error.code;
    throw error;
  }
}

describe('RFC 9053 7.1.1: EC2', () => {
  const key: Pairs = [
    [1, 2],
    [-1, 1],
    [-2, X],
  ];
  it('P-256 gives its SubjectPublicKeyInfo and key id', () => {
    const found = read([...key, [-3, Y], [2, fromUtf8('11')]]);
    expect(found).toMatchObject({ type: 'p256', keyId: fromUtf8('11') });
    expect('spki' in found && toHex(found.spki)).toBe(SPKI);
  });
  it('a compressed point (y given as its sign bit) gives the same', () => {
    const found = read([...key, [-3, false]]);
    expect('spki' in found && toHex(found.spki)).toBe(SPKI);
    const mirrored = read([...key, [-3, true]]);
    expect('spki' in mirrored && toHex(mirrored.spki)).not.toBe(SPKI);
  });
  it('a private part is not taken over', () => {
    const found = read([...key, [-3, Y], [-4, new Uint8Array(32).fill(0x5e)]]);
    expect(JSON.stringify(found)).not.toContain('94,94,94');
    expect(Object.keys(found).sort()).toEqual(['keyId', 'spki', 'type']);
  });
  it.each<[string, Pairs, CoseErrorCode | 'read']>([
    ['alg ESP256 fits', [...key, [-3, Y], [3, -9]], 'read'],
    ['alg Ed25519 does not', [...key, [-3, Y], [3, -19]], 'key-unsupported'],
    ['alg by text does not', [...key, [-3, Y], [3, 'ESP256']], 'key-unsupported'],
    ['a point off the curve', [...key, [-3, X]], 'key-malformed'],
    [
      'a short x',
      [
        [1, 2],
        [-1, 1],
        [-2, X.subarray(1)],
        [-3, Y],
      ],
      'key-malformed',
    ],
    ['no y', key, 'key-malformed'],
    ['y a number', [...key, [-3, 1]], 'key-malformed'],
    [
      'P-384',
      [
        [1, 2],
        [-1, 2],
        [-2, X],
        [-3, Y],
      ],
      'key-unsupported',
    ],
    ['a kid of text', [...key, [-3, Y], [2, '11']], 'key-malformed'],
    [
      'an Ed25519 point of small order',
      [
        [1, 1],
        [-1, 6],
        [-2, fromHex('ec'.padEnd(62, 'f').concat('7f'))],
      ],
      'key-malformed',
    ],
  ])('%s', (_, pairs, code) => expect(codeOf(pairs)).toBe(code));
});

/** As published in the working group's example hashsig-01, which is the top key of RFC 8554 Appendix F, Test Case 2. */
const HSS = fromHex(
  '000000010000000600000003d08fabd4a2091ff0a8cb4ed834e7453432a58885cd9ba0431235466bff9651c6c92124404d45fa53cf161c28f1ad5a8e',
);

describe('RFC 8778 3 and 6.3: HSS-LMS, kty 5', () => {
  const key: Pairs = [
    [1, 5],
    [-1, HSS],
  ];
  it('gives its SubjectPublicKeyInfo (RFC 9802): no parameters, the key as it is', () => {
    const found = read([...key, [2, fromUtf8('ItsBig')]]);
    expect(found).toMatchObject({ type: 'hss-lms', keyId: fromUtf8('ItsBig') });
    expect('spki' in found && toHex(found.spki)).toBe(
      `304e300d060b2a864886f70d0109100311033d00${toHex(HSS)}`,
    );
  });
  it.each<[string, Pairs, CoseErrorCode | 'read']>([
    ['alg HSS-LMS fits', [...key, [3, -46]], 'read'],
    ['alg ESP256 does not', [...key, [3, -9]], 'key-unsupported'],
    ['no public key', [[1, 5]], 'key-malformed'],
    [
      'a public key cut short',
      [
        [1, 5],
        [-1, HSS.subarray(1)],
      ],
      'key-malformed',
    ],
    [
      'an unknown tree type',
      [
        [1, 5],
        [-1, HSS.with(7, 0x63)],
      ],
      'key-malformed',
    ],
    [
      'no level at all',
      [
        [1, 5],
        [-1, HSS.with(3, 0)],
      ],
      'key-malformed',
    ],
  ])('%s', (_, pairs, code) => expect(codeOf(pairs)).toBe(code));
});

describe('RFC 9053 7.2 and 7.3: OKP and symmetric', () => {
  it('Ed25519 gives its SubjectPublicKeyInfo (RFC 8410)', () => {
    const found = read([
      [1, 1],
      [-1, 6],
      [-2, ED25519],
    ]);
    expect(found).toMatchObject({ type: 'ed25519', keyId: undefined });
    expect('spki' in found && toHex(found.spki)).toBe(`302a300506032b6570032100${toHex(ED25519)}`);
  });
  it('a symmetric key gives its bytes', () => {
    const found = read([
      [1, 4],
      [-1, fromUtf8('k'.repeat(32))],
    ]);
    expect(found).toMatchObject({ type: 'symmetric', key: fromUtf8('k'.repeat(32)) });
  });
  it.each<[string, Pairs, CoseErrorCode]>([
    [
      'X25519',
      [
        [1, 1],
        [-1, 4],
        [-2, ED25519],
      ],
      'key-unsupported',
    ],
    ['RSA', [[1, 3]], 'key-unsupported'],
    ['no kty', [[-1, 6]], 'key-malformed'],
    ['kty by text', [[1, 'OKP']], 'key-malformed'],
    ['a symmetric key without bytes', [[1, 4]], 'key-malformed'],
  ])('%s: %s', (_, pairs, code) => expect(codeOf(pairs)).toBe(code));
  it('what is no map is no key', () => {
    expect(() => readCoseKey(decode(fromHex('80')))).toThrow(CoseError);
  });
});
