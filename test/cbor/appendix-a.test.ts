/** RFC 8949 Appendix A (well-formed examples) and Appendix F.1 (not well-formed), against the strict profile. */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { CborError, type CborErrorCode, decode, diagnostic } from '../../src/cbor/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import { reencode } from './reencode.ts';

/** Encoding, diagnostic notation as the appendix prints it (it escapes characters that we show as they are). */
const EXAMPLES: readonly (readonly [string, string])[] = [
  ['00', '0'],
  ['17', '23'],
  ['1818', '24'],
  ['1903e8', '1000'],
  ['1a000f4240', '1000000'],
  ['1b000000e8d4a51000', '1000000000000'],
  ['1bffffffffffffffff', '18446744073709551615'],
  ['c249010000000000000000', '18446744073709551616'],
  ['3bffffffffffffffff', '-18446744073709551616'],
  ['c349010000000000000000', '-18446744073709551617'],
  ['20', '-1'],
  ['3903e7', '-1000'],
  ['f90000', '0.0'],
  ['f98000', '-0.0'],
  ['f93c00', '1.0'],
  ['fb3ff199999999999a', '1.1'],
  ['f97bff', '65504.0'],
  ['fa47c35000', '100000.0'],
  ['fa7f7fffff', '3.4028234663852886e+38'],
  ['fb7e37e43c8800759c', '1.0e+300'],
  ['f90001', '5.960464477539063e-8'],
  ['f90400', '0.00006103515625'],
  ['f9c400', '-4.0'],
  ['fbc010666666666666', '-4.1'],
  ['f97c00', 'Infinity'],
  ['f97e00', 'NaN'],
  ['f9fc00', '-Infinity'],
  ['f4', 'false'],
  ['f5', 'true'],
  ['f6', 'null'],
  ['f7', 'undefined'],
  ['f0', 'simple(16)'],
  ['f8ff', 'simple(255)'],
  ['c11a514b67b0', '1(1363896240)'],
  ['d74401020304', "23(h'01020304')"],
  ['d82076687474703a2f2f7777772e6578616d706c652e636f6d', '32("http://www.example.com")'],
  ['40', "h''"],
  ['62225c', '"\\"\\\\"'],
  ['63e6b0b4', '"水"'],
  ['80', '[]'],
  ['8301820203820405', '[1, [2, 3], [4, 5]]'],
  ['a0', '{}'],
  ['a26161016162820203', '{"a": 1, "b": [2, 3]}'],
];

function codeOf(hex: string): CborErrorCode | undefined {
  try {
    decode(fromHex(hex));
    return undefined;
  } catch (error) {
    if (error instanceof CborError) return error.code;
    throw error;
  }
}

describe('RFC 8949 Appendix A: examples', () => {
  it.each(EXAMPLES)('%s reads as %s and is written back', (hex, notation) => {
    const item = decode(fromHex(hex));
    expect(diagnostic(item)).toBe(notation);
    expect(toHex(reencode(item))).toBe(hex);
    expect([item.start, item.end]).toEqual([0, hex.length / 2]);
  });

  it.each([
    ['fa7f800000', 'not-shortest'],
    ['fb7ff0000000000000', 'not-shortest'],
    ['fa7fc00000', 'not-shortest'],
    ['fbfff0000000000000', 'not-shortest'],
    ['5f42010243030405ff', 'indefinite-length'],
    ['7f657374726561646d696e67ff', 'indefinite-length'],
    ['9fff', 'indefinite-length'],
    ['83018202039f0405ff', 'indefinite-length'],
    ['bf61610161629f0203ffff', 'indefinite-length'],
    ['826161bf61626163ff', 'indefinite-length'],
  ])('%s is well-formed but not deterministic: %s', (hex, code) => {
    expect(codeOf(hex)).toBe(code);
  });
});

describe('RFC 8949 F.1: not well-formed, one of each kind', () => {
  it.each([
    ['18', 'truncated'],
    ['1b01020304050607', 'truncated'],
    ['5affffffff00', 'truncated'],
    ['818181818181818181', 'truncated'],
    ['a20102', 'truncated'],
    ['c0', 'truncated'],
    ['5f4100', 'indefinite-length'],
    ['bf01020102', 'indefinite-length'],
    ['1d', 'reserved-head'],
    ['3e', 'reserved-head'],
    ['5c', 'reserved-head'],
    ['fe', 'reserved-head'],
    ['df', 'reserved-head'],
    ['1f', 'reserved-head'],
    ['f801', 'reserved-simple'],
    ['ff', 'stray-break'],
    ['81ff', 'stray-break'],
    ['a100ff', 'stray-break'],
    ['c1ff', 'stray-break'],
  ])('%s: %s', (hex, code) => expect(codeOf(hex)).toBe(code));
});

interface Vector {
  id: string;
  kind: 'well-formed' | 'not-well-formed';
  cborHex: string;
  roundtrip?: boolean;
  decoded?: unknown;
  diagnostic?: string;
  reason?: string;
}

/** The profile's code for each reason of F.1; where two faults meet, the one that stands first in the bytes. */
const CODES_OF_REASONS: Record<string, readonly CborErrorCode[]> = {
  'truncated head': ['truncated'],
  'tag number not followed by tag content': ['truncated'],
  'short definite-length string': ['truncated'],
  'short definite-length array or map': ['truncated'],
  'unclosed indefinite string': ['indefinite-length'],
  'unclosed indefinite array or map': ['indefinite-length'],
  'reserved additional information': ['reserved-head'],
  'reserved two-byte simple value': ['reserved-simple'],
  'wrong chunk type in indefinite string': ['indefinite-length'],
  'indefinite chunk in indefinite string': ['indefinite-length'],
  'break outside indefinite item': ['stray-break'],
  'break in definite item or tag': ['stray-break', 'indefinite-length', 'truncated'],
  'break at map value position': ['indefinite-length'],
  'additional information 31 on major type 0, 1 or 6': ['reserved-head'],
};

describe.skipIf(!vectorsPresent)('RFC 8949 Appendices A and F.1, published vectors', () => {
  const cases: Vector[] = vectorsPresent ? vectors('cbor-rfc8949').cases : [];
  const wellFormed = cases.filter((each) => each.kind === 'well-formed');
  const deterministic = wellFormed.filter((each) => each.roundtrip);

  it('are there', () => expect(cases.length).toBeGreaterThan(0));
  it.each(deterministic)(
    '$id $cborHex is read and written back',
    ({ cborHex, decoded, diagnostic: text }) => {
      const item = decode(fromHex(cborHex));
      expect(toHex(reencode(item))).toBe(cborHex);
      if (text !== undefined) expect(diagnostic(item)).toBe(text);
      if (decoded !== undefined && decoded !== null) expect(asJson(diagnostic(item))).toEqual(decoded);
    },
  );
  it.each(wellFormed.filter((each) => !each.roundtrip))(
    '$id $cborHex is refused as not deterministic',
    (each) => {
      const expected = /^f[ab]/.test(each.cborHex) ? 'not-shortest' : 'indefinite-length';
      expect(codeOf(each.cborHex)).toBe(expected);
    },
  );
  it.each(cases.filter((each) => each.kind === 'not-well-formed'))(
    '$id $cborHex: $reason',
    ({ cborHex, reason }) => {
      const code = codeOf(cborHex);
      expect(code).toBeDefined();
      expect(CODES_OF_REASONS[reason!] ?? [code]).toContain(code);
    },
  );
});

/** Diagnostic notation of JSON's kinds of values is JSON. */
function asJson(notation: string): unknown {
  return JSON.parse(notation);
}
