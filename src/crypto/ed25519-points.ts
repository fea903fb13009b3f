import { fromHex } from '../bytes/index.ts';

const SIGN_BIT = 0x80;
const TOP = 31;
const PRIME_LOW = 0xed;

/**
 * The y coordinates of the eight points whose order divides the cofactor 8, little-endian, the sign bit of x left out: of order
 * 1, 2, 4 and 8. Source: K. Chalkias, F. Garillot, V. Nikolaenko, "Taming the Many EdDSAs" (SSR 2020, IACR ePrint 2020/1244),
 * its list of small-order points; test/crypto/small-order.test.ts computes that these are all.
 */
const SMALL_ORDER = [
  '0100000000000000000000000000000000000000000000000000000000000000',
  'ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f',
  '0000000000000000000000000000000000000000000000000000000000000000',
  '26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05',
  'c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a',
].map(fromHex);

/**
 * Whether a point of Ed25519, 32 bytes, is written in its one form (y below 2^255-19: RFC 8032 section 5.1.3) and is not of small
 * order. A key of small order hides nothing: whoever knows it signs under it. Whether there is such a point on the curve is not
 * asked.
 */
export function isSoundPoint(encoded: Uint8Array): boolean {
  // A copy: what a Buffer calls its slice is the same memory.
  const y = new Uint8Array(encoded);
  y[TOP] = y[TOP]! & ~SIGN_BIT;
  return isBelowPrime(y) && !SMALL_ORDER.some((bad) => y.every((byte, i) => byte === bad[i]));
}

function isBelowPrime(y: Uint8Array): boolean {
  const isHigh = y[TOP] === 0x7f && y.subarray(1, TOP).every((byte) => byte === 0xff);
  return !isHigh || y[0]! < PRIME_LOW;
}
