/** Diagnostic notation: RFC 8949 section 8, RFC 8610 appendix G.3 for embedded CBOR. */
import { describe, expect, it } from 'vitest';
import { fromHex } from '../../src/bytes/index.ts';
import { type CborBytes, CborTag, decode, diagnostic, encode } from '../../src/cbor/index.ts';

const shown = (hex: string) => diagnostic(decode(fromHex(hex)));

describe('RFC 8949 8: text', () => {
  it.each([
    ['a\nb\r\t', '"a\\nb\\r\\t"'],
    ['\u0000\u001b[31m\u007f\u0085', '"\\u0000\\u001b[31m\\u007f\\u0085"'],
    ['\u202eabc\u2066\u200b\ufeff\u2028', '"\\u202eabc\\u2066\\u200b\\ufeff\\u2028"'],
    ['\u{e0041}', '"\\udb40\\udc41"'],
    ['Hollin Ridge \u00fc \u6c34 \u{1f331}', '"Hollin Ridge \u00fc \u6c34 \u{1f331}"'],
    ['say "\\"', '"say \\"\\\\\\""'],
  ])('%j cannot leave its quotes or drive a terminal', (text, notation) => {
    expect(diagnostic(decode(encode(text)))).toBe(notation);
    expect(JSON.parse(notation)).toBe(text);
  });
});

describe('RFC 8949 8 and Appendix A: numbers', () => {
  it.each([
    ['c249010000000000000000', '18446744073709551616'],
    ['c349010000000000000000', '-18446744073709551617'],
    ['c24101', "2(h'01')"],
    ['c2490001000000000000ff', "2(h'0001000000000000ff')"],
    ['c26161', '2("a")'],
    ['fb0000000000000001', '5.0e-324'],
    ['fb43f0000000000001', '18446744073709556000.0'],
    ['fb444b1ae4d6e2ef50', '1.0e+21'],
    ['f8ff', 'simple(255)'],
    ['e0', 'simple(0)'],
  ])('%s reads %s', (hex, notation) => expect(shown(hex)).toBe(notation));
});

describe('RFC 8610 G.3: embedded CBOR', () => {
  const wrapped = decode(encode([encode([1, encode('in')]), fromHex('ff')]));
  const expand = (bytes: CborBytes) => {
    try {
      return decode(bytes.value);
    } catch {
      return undefined;
    }
  };
  it('is shown where the caller decodes it, at every level, and as hexadecimal elsewhere', () => {
    expect(diagnostic(wrapped, { expand })).toBe('[<<[1, <<"in">>]>>, h\'ff\']');
    expect(diagnostic(wrapped)).toBe("[h'82014362696e', h'ff']");
  });
  it('a tagged envelope-like item reads in one line', () => {
    const item = decode(encode(new CborTag(18, [fromHex('a10128'), [], null])));
    expect(diagnostic(item, { expand })).toBe('18([<<{1: -9}>>, [], null])');
  });
});
