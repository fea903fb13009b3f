/** The strict profile: RFC 8949 sections 3, 4.2.1 and 5.6, bounds, spans. Bytes are hand-made unless a source is named. */
import { describe, expect, it } from 'vitest';
import { concat, fromHex, toHex } from '../../src/bytes/index.ts';
import {
  type CborBytes,
  CborError,
  type CborErrorCode,
  type CborMapping,
  type CborTagged,
  type DecodeOptions,
  decode,
  decodeFirst,
  encodeHead,
  lookUp,
  readHead,
} from '../../src/cbor/index.ts';

/** draft-ietf-suit-manifest-37 Appendix B.1 (Example 0), without signature. */
const SUIT_EXAMPLE_0 = fromHex(
  'd86ba2025827815824822f58206658ea560262696dd1f13b782239a064da7c6c5cbaf52fded428a6fc83c7e5af035871a50101020003' +
    '585fa202818141000458568614a40150fa6b4a53d5ad5fdfbe9de663e4d41ffe02501492af1425695e48bf429b2d51f2ab4503582482' +
    '2f582000112233445566778899aabbccddeeff0123456789abcdeffedcba98765432100e1987d0010f020f074382030f0943821702',
);

function refusalOf(
  hex: string | Uint8Array,
  options?: DecodeOptions,
): { code: CborErrorCode; offset: number } {
  try {
    decode(typeof hex === 'string' ? fromHex(hex) : hex, options);
  } catch (error) {
    if (error instanceof CborError) return { code: error.code, offset: error.offset };
    throw error;
  }
  throw new Error(`accepted: ${hex}`);
}

describe('RFC 8949 4.2.1: shortest form', () => {
  it.each([
    '1800',
    '1817',
    '1900ff',
    '1a0000ffff',
    '1b00000000ffffffff',
    '3817',
    '5800',
    '7803616263',
    '980100',
    'b800',
  ])('%s says in more bytes what fewer can', (hex) =>
    expect(refusalOf(hex)).toEqual({ code: 'not-shortest', offset: 0 }),
  );
  it('holds for tags and for lengths inside', () => {
    expect(refusalOf('d81700')).toEqual({ code: 'not-shortest', offset: 0 });
    expect(refusalOf('8201580161')).toEqual({ code: 'not-shortest', offset: 2 });
  });
  it.each(['1818', '190100', '1a00010000', '1b0000000100000000'])(
    '%s is the first value of its width',
    (hex) => {
      expect(toHex(encodeHead(0, readHead(fromHex(hex), 0).argument))).toBe(hex);
    },
  );
  it.each([
    ['f97e01', 'nan-payload'],
    ['f9fe00', 'nan-payload'],
    ['fa7fc00001', 'not-shortest'],
    ['fb47efffffe0000000', 'not-shortest'],
    ['fa38800000', 'not-shortest'],
    ['fa33800000', 'not-shortest'],
  ])('4.2.2: the float %s is refused: %s', (hex, code) => {
    expect(refusalOf(hex)).toEqual({ code, offset: 0 });
  });
  it.each(['fa33000000', 'fa477fe100', 'fa00000001', 'fb3690000000000000', 'fb380fffffe0000000'])(
    'the float %s fits no shorter form',
    (hex) => expect(decode(fromHex(hex)).type).toBe('float'),
  );
});

describe('RFC 8949 4.2.1 and 5.6: map keys', () => {
  it.each([
    ['a2020001 00', 'unsorted-keys'],
    ['a2 6162 00 6161 00', 'unsorted-keys'],
    ['a2 626161 00 6162 00', 'unsorted-keys'],
    ['a2 20 00 01 00', 'unsorted-keys'],
    ['a2 01 00 01 00', 'duplicate-key'],
    ['a2 4101 00 4101 00', 'duplicate-key'],
    ['a2 6161 00 6161 01', 'duplicate-key'],
    ['a2 820102 00 820102 00', 'duplicate-key'],
  ])('%s: %s, at the key', (spaced, code) => {
    const hex = spaced.replaceAll(' ', '');
    const keyLength = spaced === 'a2020001 00' ? 1 : spaced.split(' ')[1]!.length / 2;
    expect(refusalOf(hex)).toEqual({ code, offset: 1 + keyLength + 1 });
  });
  it('the order is that of the encodings: 10, 100, -1, "z", "aa", [100], [-1], false (RFC 8949 4.2.1, example)', () => {
    const map = decode(fromHex('a80a0018640020006 17a00626161008118640081200 0f400'.replaceAll(' ', '')));
    expect(map.type === 'map' && map.entries.length).toBe(8);
  });
  it('a stranger may leave them unsorted where the caller says so, never doubled', () => {
    const options = { sortedKeys: false };
    expect(decode(fromHex('a3030002000100'), options).type).toBe('map');
    expect(refusalOf('a303000200 0300'.replace(' ', ''), options)).toEqual({
      code: 'duplicate-key',
      offset: 5,
    });
    expect(refusalOf('a4046008600460036 0'.replace(' ', ''), options)).toEqual({
      code: 'duplicate-key',
      offset: 5,
    });
  });
});

describe('RFC 8949 3.1: text is UTF-8', () => {
  it.each([
    ['61ff', 'a byte that never occurs'],
    ['62c080', 'an overlong form'],
    ['63eda080', 'a surrogate'],
    ['64f4908080', 'beyond U+10FFFF'],
    ['62c328', 'a missing continuation'],
    ['61c3', 'cut inside a character'],
    [`7840${'61'.repeat(63)}ff`, 'at the end of a long text'],
  ])('%s is refused: %s', (hex) => {
    expect(refusalOf(hex)).toEqual({ code: 'invalid-utf8', offset: 0 });
  });
  it('a byte order mark, a null and a long text are kept', () => {
    for (const text of ['\ufeffa', 'a\u0000b', 'é'.repeat(100), 'a'.repeat(1000)]) {
      const bytes = new TextEncoder().encode(text);
      expect(decode(concat(encodeHead(3, bytes.length), bytes))).toMatchObject({ type: 'text', value: text });
    }
  });
});

describe('bounds: nothing is allocated or walked for what is not there', () => {
  it.each(['5b8000000000000000', '7b8000000000000000', '9b8000000000000000', 'bb8000000000000000'])(
    '%s declares 2^63 and is cut short',
    (hex) => expect(refusalOf(hex)).toEqual({ code: 'truncated', offset: 0 }),
  );
  it('a map of n pairs needs 2n bytes, an array n', () => {
    expect(refusalOf('a2010203').code).toBe('truncated');
    expect(refusalOf('9affffffff00').code).toBe('truncated');
  });
  it.each([0x81, 0xc1, 0xa1])('100,000 nested heads %i end at the allowed depth', (head) => {
    const bomb = new Uint8Array(100_000).fill(head);
    expect(refusalOf(bomb)).toEqual({ code: 'too-deep', offset: 16 });
  });
  it('the depth is exact: 16 levels by default, or as stated', () => {
    const nested = (levels: number) => concat(new Uint8Array(levels).fill(0x81), Uint8Array.of(0));
    expect(decode(nested(16)).type).toBe('array');
    expect(refusalOf(nested(17))).toEqual({ code: 'too-deep', offset: 16 });
    expect(decode(nested(3), { maxDepth: 3 }).type).toBe('array');
    expect(refusalOf(nested(3), { maxDepth: 2 })).toEqual({ code: 'too-deep', offset: 2 });
    expect(decode(fromHex('83 8101 8101 8101'.replaceAll(' ', '')), { maxDepth: 2 }).type).toBe('array');
  });
  it('the number of items is exact: 4096 by default, or as stated', () => {
    const flat = (count: number) => concat(encodeHead(4, count), new Uint8Array(count));
    expect(decode(flat(4095)).type).toBe('array');
    expect(refusalOf(flat(4096))).toEqual({ code: 'too-many-items', offset: 0 });
    expect(decode(flat(9), { maxItems: 10 }).type).toBe('array');
    expect(refusalOf('828100 8100'.replace(' ', ''), { maxItems: 4 })).toEqual({
      code: 'too-many-items',
      offset: 3,
    });
  });
});

describe('exactly one item', () => {
  it('bytes after it are refused, at their offset', () => {
    expect(refusalOf('0000')).toEqual({ code: 'trailing-bytes', offset: 1 });
    expect(refusalOf('a0f6', { base: 100 })).toEqual({ code: 'trailing-bytes', offset: 101 });
  });
  it('no bytes are no item', () => expect(refusalOf('')).toEqual({ code: 'truncated', offset: 0 }));
  it('SUIT manifest example 0 is refused when cut at any offset', () => {
    for (let length = 0; length < SUIT_EXAMPLE_0.length; length++) {
      expect(refusalOf(SUIT_EXAMPLE_0.subarray(0, length)).code).toBe('truncated');
    }
  });
  it('RFC 8742: items of a sequence are read one after the other', () => {
    const sequence = fromHex('01 43010203 f6'.replaceAll(' ', ''));
    const spans: number[][] = [];
    for (let at = 0; at < sequence.length; ) {
      const item = decodeFirst(sequence, at);
      spans.push([item.start, item.end]);
      at = item.end;
    }
    expect(spans).toEqual([
      [0, 1],
      [1, 5],
      [5, 6],
    ]);
    expect(() => decodeFirst(sequence, 6)).toThrow(CborError);
  });
});

describe('what an item says of itself', () => {
  const envelope = (decode(SUIT_EXAMPLE_0) as CborTagged).item as CborMapping;
  const manifest = lookUp(envelope, 3) as CborBytes;

  it('spans cover head and content, contentStart the content only', () => {
    expect([manifest.start, manifest.contentStart, manifest.end]).toEqual([46, 48, 161]);
    expect(SUIT_EXAMPLE_0[manifest.start]).toBe(0x58);
  });
  it('byte strings are views, not copies', () => {
    expect(manifest.value.buffer).toBe(SUIT_EXAMPLE_0.buffer);
    expect(toHex(manifest.value)).toBe(toHex(SUIT_EXAMPLE_0.subarray(48, 161)));
  });
  it('base moves every span and error, nested decoding lands in the whole', () => {
    const inner = decode(manifest.value, { base: manifest.contentStart }) as CborMapping;
    const common = lookUp(inner, 3) as CborBytes;
    expect(toHex(SUIT_EXAMPLE_0.subarray(common.contentStart, common.end))).toBe(toHex(common.value));
    expect(refusalOf('8100ff', { base: 1000 })).toEqual({ code: 'trailing-bytes', offset: 1002 });
    expect(refusalOf('82001800', { base: 1000 })).toEqual({ code: 'not-shortest', offset: 1002 });
    expect(refusalOf('a201000100', { base: 1000 })).toEqual({ code: 'duplicate-key', offset: 1003 });
  });
  it('a view into a larger buffer is read from its own start', () => {
    const framed = concat(fromHex('ffff'), SUIT_EXAMPLE_0, fromHex('ffff'));
    const item = decode(framed.subarray(2, 2 + SUIT_EXAMPLE_0.length));
    expect([item.start, item.end]).toEqual([0, SUIT_EXAMPLE_0.length]);
    expect(decode(fromHex('0000f93c00').subarray(2))).toMatchObject({ type: 'float', value: 1 });
  });
  it('integers are numbers while safe, bigints beyond', () => {
    const values = [
      '1b001fffffffffffff',
      '1b0020000000000000',
      '3b001ffffffffffffe',
      '3b001fffffffffffff',
    ].map((hex) => (decode(fromHex(hex)) as { value?: unknown }).value);
    expect(values).toEqual([2 ** 53 - 1, 2n ** 53n, -(2 ** 53) + 1, -(2n ** 53n)]);
  });
  it('lookUp tells 1 from "1" and finds nothing where nothing is', () => {
    const map = decode(fromHex('a301032002613104')) as CborMapping;
    expect(lookUp(map, 1)).toMatchObject({ value: 3 });
    expect(lookUp(map, -1)).toMatchObject({ value: 2 });
    expect(lookUp(map, '1')).toMatchObject({ value: 4 });
    expect(lookUp(map, 2)).toBeUndefined();
  });
  it('tags stay tags, large ones too', () => {
    expect(decode(fromHex('dbffffffffffffffff00'))).toMatchObject({ type: 'tag', tag: 2n ** 64n - 1n });
    expect(decode(fromHex('c24101'))).toMatchObject({ type: 'tag', tag: 2 });
  });
  it('an error names code, byte and section', () => {
    const error = new CborError('duplicate-key', 12);
    expect(error.message).toBe(
      'CBOR refused at byte 12: a map holds the same key twice (RFC 8949 section 5.6)',
    );
  });
});

describe('readHead: RFC 8949 3', () => {
  it('gives major type, argument and end, at any offset', () => {
    expect(readHead(fromHex('ffd86ba2'), 1)).toEqual({ major: 6, argument: 107, end: 3 });
    expect(readHead(fromHex('5a00010000'), 0)).toEqual({ major: 2, argument: 65536, end: 5 });
    expect(readHead(fromHex('1bffffffffffffffff'), 0)).toEqual({
      major: 0,
      argument: 2n ** 64n - 1n,
      end: 9,
    });
    expect(readHead(fromHex('fa47c35000'), 0)).toEqual({ major: 7, argument: 0x47c35000, end: 5 });
    expect(readHead(fromHex('f7'), 0)).toEqual({ major: 7, argument: 23, end: 1 });
  });
  it.each([
    ['', 'truncated'],
    ['59 01', 'truncated'],
    ['5801', 'not-shortest'],
    ['5f', 'indefinite-length'],
    ['ff', 'stray-break'],
    ['1c', 'reserved-head'],
    ['f81f', 'reserved-simple'],
  ])('refuses %s: %s', (hex, code) => {
    expect(() => readHead(fromHex(hex.replace(' ', '')), 0)).toThrow(
      expect.objectContaining({ code, offset: 0 }),
    );
  });
  it('agrees with decode on every initial byte', () => {
    for (let initial = 0; initial < 256; initial++) {
      const bytes = concat(Uint8Array.of(initial), new Uint8Array(8).fill(0x7b));
      const head = outcome(() => readHead(bytes, 0).major);
      const item = outcome(() => decodeFirst(concat(bytes, new Uint8Array(300)), 0).start);
      if (typeof head === 'string') expect(item).toBe(head);
      else expect(head).toBe(initial >> 5);
    }
  });
});

function outcome(run: () => number): number | string {
  try {
    return run();
  } catch (error) {
    if (error instanceof CborError) return error.code;
    throw error;
  }
}
