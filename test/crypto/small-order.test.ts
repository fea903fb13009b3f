/**
 * Ed25519 points under which anybody can sign: K. Chalkias, F. Garillot, V. Nikolaenko, "Taming the Many EdDSAs" (SSR 2020, IACR
 * ePrint 2020/1244), its list of small-order points; RFC 8032 sections 5.1.3 and 5.1.7. What they allow is shown with
 * node:crypto, which takes them; that they are all there are, by counting on the curve.
 */
import { createHash, createPublicKey, generateKeyPairSync, sign, verify } from 'node:crypto';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { concat, fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import { isSoundPoint } from '../../src/crypto/ed25519-points.ts';
import {
  ed25519Spki,
  isSoundKey,
  readPublicKey,
  readSoundKey,
  verifySignature,
} from '../../src/crypto/index.ts';

/** By order. */
const CANONICAL = {
  1: ['0100000000000000000000000000000000000000000000000000000000000000'],
  2: ['ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f'],
  4: [
    '0000000000000000000000000000000000000000000000000000000000000000',
    '0000000000000000000000000000000000000000000000000000000000000080',
  ],
  8: [
    '26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05',
    '26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85',
    'c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a',
    'c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa',
  ],
} as const;
/** Other writings of them: y of p or above, or a sign where x is 0. */
const OTHERWISE = [
  '0100000000000000000000000000000000000000000000000000000000000080',
  'ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff',
  'eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f',
  'eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff',
  'edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f',
  'edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff',
];
const ALL = [...Object.values(CANONICAL).flat(), ...OTHERWISE];

const P = 2n ** 255n - 19n;
const L = 2n ** 252n + 27742317777372353535851937790883648493n;
const ZERO = fromHex('00'.repeat(32));

/** A message and a signature that anybody makes with S = 0: R is what the key is times the hash, one of eight points. */
function forged(key: string): { message: Uint8Array; signature: Uint8Array } {
  const handle = createPublicKey({
    key: Buffer.from(ed25519Spki(fromHex(key))),
    format: 'der',
    type: 'spki',
  });
  for (let i = 0; i < 1000; i++) {
    const message = fromUtf8(`firmware ${i}`);
    for (const r of Object.values(CANONICAL).flat()) {
      const signature = concat(fromHex(r), ZERO);
      if (verify(null, message, handle, signature)) return { message, signature };
    }
  }
  throw new Error(`nothing is forged under ${key}`);
}

describe('keys of small order', () => {
  it.each(ALL)('%s: anybody signs under it as node:crypto sees it, and nothing counts here', (key) => {
    const { message, signature } = forged(key);
    const spki = ed25519Spki(fromHex(key));
    const read = readPublicKey(spki)!;
    expect(read.type).toBe('ed25519');
    expect(isSoundKey(read)).toBe(false);
    expect(readSoundKey(spki)).toBeUndefined();
    expect(verifySignature(read, message, signature)).toBe(false);
  });

  it.each(Object.entries(CANONICAL))('of order %s lie on the curve and have that order', (order, keys) => {
    for (const key of keys) expect(orderOf(fromHex(key)), key).toBe(Number(order));
  });

  it('are all there are: a point of order 8 reaches eight points, and the group of the curve has 8 L', () => {
    const point = decoded(fromHex(CANONICAL[8][0]))!;
    const reached = new Set<string>();
    let at = point;
    for (let i = 0; i < 8; i++, at = sum(at, point)) reached.add(toHex(encoded(at)));
    expect([...reached].sort()).toEqual(Object.values(CANONICAL).flat().toSorted());
  });

  it('every y of p and above is no point’s own writing, those of other order among them (RFC 8032 5.1.3)', () => {
    for (let y = P; y < 2n ** 255n; y++)
      for (const sign of [0, 0x80]) expect(isSoundPoint(written(y, sign))).toBe(false);
    expect(isSoundPoint(written(P - 2n, 0))).toBe(true);
  });

  it('property: no key that is generated is one', () => {
    fc.assert(
      fc.property(fc.constant(0), () => {
        const { publicKey } = generateKeyPairSync('ed25519');
        const spki = new Uint8Array(publicKey.export({ format: 'der', type: 'spki' }));
        return readSoundKey(spki) !== undefined;
      }),
    );
  });
});

describe('sound keys and signatures', () => {
  it('property: count, and are left as they are, also in a Buffer, whose slice is its own memory', () => {
    fc.assert(
      fc.property(fc.uint8Array(), (message) => {
        const { publicKey, privateKey } = generateKeyPairSync('ed25519');
        const spki = publicKey.export({ format: 'der', type: 'spki' });
        const signature = sign(null, message, privateKey);
        const before = [toHex(spki), toHex(signature)];
        expect(verifySignature(readSoundKey(spki)!, message, signature)).toBe(true);
        expect([toHex(spki), toHex(signature)]).toEqual(before);
      }),
    );
  });
});

describe('R of small order', () => {
  it('who has a key could sign with the neutral point as R (RFC 8032 5.1.7): not taken, as strict verifiers do not', () => {
    const { publicKey, privateKey } = generateKeyPairSync('ed25519');
    const spki = new Uint8Array(publicKey.export({ format: 'der', type: 'spki' }));
    const seed = Buffer.from(privateKey.export({ format: 'jwk' }).d!, 'base64url');
    const message = fromUtf8('firmware');
    const r = fromHex(CANONICAL[1][0]);
    const hash = numberOf(
      createHash('sha512')
        .update(concat(r, spki.subarray(12), message))
        .digest(),
    );
    const signature = concat(r, written(((hash % L) * secretOf(seed)) % L, 0));
    expect(verify(null, message, publicKey, signature)).toBe(true);
    expect(verifySignature(readPublicKey(spki)!, message, signature)).toBe(false);
  });
});

/** RFC 8032 section 5.1.5. */
function secretOf(seed: Uint8Array): bigint {
  const half = createHash('sha512').update(seed).digest().subarray(0, 32);
  half[0]! &= 248;
  half[31] = (half[31]! & 127) | 64;
  return numberOf(half);
}

function numberOf(littleEndian: Uint8Array): bigint {
  return littleEndian.reduceRight((sum, byte) => sum * 256n + BigInt(byte), 0n);
}

function written(y: bigint, sign: number): Uint8Array {
  const bytes = Uint8Array.from({ length: 32 }, (_, i) => Number((y >> BigInt(8 * i)) & 255n));
  bytes[31]! |= sign;
  return bytes;
}

// The curve of RFC 8032 section 5.1, for the tests above only.
type Point = readonly [x: bigint, y: bigint];
const NEUTRAL: Point = [0n, 1n];
const mod = (a: bigint) => ((a % P) + P) % P;
const D = mod(-121665n * inverse(121666n));

function inverse(a: bigint): bigint {
  return power(mod(a), P - 2n);
}

function power(base: bigint, exponent: bigint): bigint {
  if (exponent === 0n) return 1n;
  const half = power(mod(base * base), exponent >> 1n);
  return exponent & 1n ? mod(half * base) : half;
}

function sum([x1, y1]: Point, [x2, y2]: Point): Point {
  const t = D * x1 * x2 * y1 * y2;
  return [mod((x1 * y2 + x2 * y1) * inverse(1n + t)), mod((y1 * y2 + x1 * x2) * inverse(1n - t))];
}

/** RFC 8032 section 5.1.3. */
function decoded(bytes: Uint8Array): Point | undefined {
  const sign = BigInt(bytes[31]! >> 7);
  const y = numberOf(bytes) & (2n ** 255n - 1n);
  const square = mod((y * y - 1n) * inverse(D * y * y + 1n));
  let x = power(square, (P + 3n) / 8n);
  if (mod(x * x) !== square) x = mod(x * power(2n, (P - 1n) / 4n));
  if (mod(x * x) !== square) return undefined;
  return [(x & 1n) === sign ? x : mod(-x), y];
}

function encoded([x, y]: Point): Uint8Array {
  return written(y, x & 1n ? 0x80 : 0);
}

function orderOf(bytes: Uint8Array): number {
  const point = decoded(bytes)!;
  let [at, order] = [point, 1];
  for (; at[0] !== NEUTRAL[0] || at[1] !== NEUTRAL[1]; at = sum(at, point)) order++;
  return order;
}
