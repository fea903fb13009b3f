import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { type DerCode, DerError, type DerReader, der, readDer, TAG } from '../../src/x509/index.ts';

function codeOf(run: () => unknown): string {
  try {
    run();
    return 'accepted';
  } catch (error) {
    if (error instanceof DerError) return error.code;
    throw error;
  }
}

const anything = (hex: string) => codeOf(() => readDer(fromHex(hex), (reader) => reader.any()));

describe('X.690 section 10 and 11: what DER is not', () => {
  const refused: [string, string, DerCode][] = [
    ['8.1.3.6 indefinite length', '30800500', 'indefinite-length'],
    ['10.1 long form where the short form fits', '048105aabbccddee', 'length-not-minimal'],
    ['10.1 leading zero in the length', '04820005aabbccddee', 'length-not-minimal'],
    ['length of five bytes', '048501000000000000', 'length-too-large'],
    ['length byte ff', '04ff01000000000000', 'length-too-large'],
    ['content cut off', '0403aabb', 'truncated'],
    ['nothing at all', '', 'truncated'],
    ['only a tag', '30', 'truncated'],
    ['bytes after the element', '050000', 'left-over'],
    ['multi-byte tag', '1f8101ff', 'tag-too-large'],
    ['10.2 constructed string', '2403040100', 'constructed-form'],
    ['primitive sequence', '1000', 'constructed-form'],
    ['inner element beyond the outer', '30020405', 'truncated'],
  ];
  test.each(refused)('%s is refused', (_clause, hex, code) => {
    expect(anything(hex)).toBe(code);
  });

  const typed: [string, string, (reader: DerReader) => unknown, DerCode][] = [
    ['11.1 BOOLEAN other than 00 or ff', '010101', (r) => r.boolean(), 'boolean-not-canonical'],
    ['8.2.1 BOOLEAN of two bytes', '0102ffff', (r) => r.boolean(), 'boolean-not-canonical'],
    ['11.5 a default written out', '010100', (r) => r.booleanDefaultFalse(), 'default-encoded'],
    ['8.3.1 empty INTEGER', '0200', (r) => r.integerBytes(), 'integer-not-minimal'],
    ['8.3.2 INTEGER with a leading 00', '0202007f', (r) => r.integerBytes(), 'integer-not-minimal'],
    ['8.3.2 INTEGER with a leading ff', '0202ff80', (r) => r.integerBytes(), 'integer-not-minimal'],
    ['negative where a count is wanted', '0201ff', (r) => r.unsigned(), 'integer-too-large'],
    ['above 2^53', '02087fffffffffffffff', (r) => r.unsigned(), 'integer-too-large'],
    ['8.8 NULL with content', '050100', (r) => r.null(), 'null-not-empty'],
    ['8.19.2 padded OID arc', '06032a8001', (r) => r.oid(), 'oid-malformed'],
    ['OID that ends inside an arc', '06022a86', (r) => r.oid(), 'oid-malformed'],
    ['empty OID', '0600', (r) => r.oid(), 'oid-malformed'],
    ['8.6.2 nine unused bits', '03020900', (r) => r.bitString(), 'bit-string-malformed'],
    ['8.6.2.3 unused bits of nothing', '030101', (r) => r.bitString(), 'bit-string-malformed'],
    ['BIT STRING without its first byte', '0300', (r) => r.bitString(), 'bit-string-malformed'],
    ['11.2.1 unused bits that are set', '03020181', (r) => r.bitString(), 'bit-string-malformed'],
    ['UTF8String that is not UTF-8', '0c01ff', (r) => r.utf8String(), 'string-malformed'],
    ['IA5String beyond ASCII', '160180', (r) => r.ia5String(), 'string-malformed'],
    [
      '11.6 SET OF out of order',
      '3106020102020101',
      (r) => r.enter(TAG.set).eachOfSet((m) => m.any()),
      'set-not-sorted',
    ],
    ['another type', '0500', (r) => r.integerBytes(), 'unexpected-tag'],
  ];
  test.each(typed)('%s is refused', (_clause, hex, read, code) => {
    expect(codeOf(() => readDer(fromHex(hex), read))).toBe(code);
  });

  test('nesting beyond the limit and input beyond the limit are refused before they cost anything', () => {
    const deep = (levels: number) => {
      let bytes: Uint8Array = der.null();
      for (let i = 0; i < levels; i++) bytes = der.sequence(bytes);
      return bytes;
    };
    expect(anything(toHex(deep(16)))).toBe('accepted');
    expect(anything(toHex(deep(17)))).toBe('too-deep');
    expect(anything(toHex(deep(10_000)))).toBe('too-deep');
    expect(codeOf(() => readDer(new Uint8Array(65_537), (r) => r.any()))).toBe('length-too-large');
  });

  test('an error says at which byte of the whole input', () => {
    const bytes = der.sequence(der.integer(1), der.sequence(der.null(), fromHex('0202007f')));
    try {
      readDer(bytes, (r) =>
        r
          .enter()
          .each((m) =>
            m.peek() === TAG.sequence
              ? m.enter().each((i) => (i.peek() === TAG.null ? i.null() : i.integerBytes()))
              : m.any(),
          ),
      );
      expect.unreachable();
    } catch (error) {
      expect((error as DerError).offset).toBe(11);
      expect((error as DerError).message).toMatch(/^DER, byte 11: /);
    }
  });
});

describe('X.690: values', () => {
  // Each from the worked examples of X.690 or the OIDs of the RFC named, from memory.
  const oids: [string, string][] = [
    ['2.999.3', '0603883703'], // X.690 section 8.19.5
    ['1.2.840.10045.4.3.2', '06082a8648ce3d040302'], // RFC 5758 section 3.2
    ['1.3.101.112', '06032b6570'], // RFC 8410 section 3
    ['2.5.29.15', '0603551d0f'],
    ['0.9.2342.19200300.100.1.25', '060a0992268993f22c640119'], // RFC 4519 section 2.4
  ];
  test.each(oids)('8.19: %s', (dotted, hex) => {
    expect(toHex(der.oid(dotted))).toBe(hex);
    expect(readDer(fromHex(hex), (r) => r.oid())).toBe(dotted);
  });

  const integers: [number, string][] = [
    [0, '020100'],
    [127, '02017f'],
    [128, '02020080'],
    [256, '02020100'],
    [65_537, '0203010001'],
  ];
  test.each(integers)('8.3: INTEGER %d', (value, hex) => {
    expect(toHex(der.integer(value))).toBe(hex);
    expect(readDer(fromHex(hex), (r) => r.unsigned())).toBe(value);
  });

  test('11.2.2: a named bit list has no trailing zero bits', () => {
    expect(toHex(der.namedBits([0]))).toBe('03020780');
    expect(toHex(der.namedBits([5, 6]))).toBe('03020106');
    expect(toHex(der.namedBits([]))).toBe('030100');
    expect(toHex(der.namedBits([8]))).toBe('0303070080');
  });

  test('10.1: lengths at their edges', () => {
    for (const length of [0, 1, 127, 128, 255, 256, 65_000]) {
      const bytes = der.octetString(new Uint8Array(length));
      expect(readDer(bytes, (r) => r.octetString()).length).toBe(length);
    }
    expect(toHex(der.octetString(new Uint8Array(128)).subarray(0, 3))).toBe('048180');
  });

  test('wrong use of the writer is a TypeError', () => {
    expect(() => der.oid('3.1')).toThrow(TypeError);
    expect(() => der.oid('1.40')).toThrow(TypeError);
    expect(() => der.oid('1')).toThrow(TypeError);
    expect(() => der.integer(-1)).toThrow(TypeError);
    expect(() => der.integer(1.5)).toThrow(TypeError);
    expect(() => der.printableString('a@b')).toThrow(TypeError);
    expect(() => der.ia5String('ü')).toThrow(TypeError);
  });
});

describe('properties', () => {
  const tree: fc.Memo<Uint8Array> = fc.memo((depth) =>
    depth <= 1
      ? fc.oneof(
          fc.nat().map(der.integer),
          fc.uint8Array({ maxLength: 20 }).map((bytes) => der.octetString(bytes)),
          fc.uint8Array({ maxLength: 20 }).map((bytes) => der.bitString(bytes)),
          fc.string({ maxLength: 20 }).map(der.utf8String),
          fc.boolean().map(der.boolean),
        )
      : fc.array(tree(depth - 1), { maxLength: 4 }).map((parts) => der.sequence(...parts)),
  );

  test('what the writer makes, the reader takes', () => {
    fc.assert(
      fc.property(tree(4), (bytes) => {
        expect(anything(toHex(bytes))).toBe('accepted');
      }),
    );
  });

  test('cut anywhere, it is refused with a DerError', () => {
    fc.assert(
      fc.property(tree(3), (bytes) => {
        for (let end = 0; end < bytes.length; end++) {
          expect(anything(toHex(bytes.subarray(0, end)))).toBe('truncated');
        }
      }),
      { numRuns: 30 },
    );
  });

  test('random bytes: accepted or a DerError, nothing else', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 64 }), (bytes) => void anything(toHex(bytes))),
      { numRuns: 2000 },
    );
  });

  test('an OID in dotted form comes back, arcs of 128 bits included', () => {
    const arcs = fc.array(fc.bigInt({ min: 0n, max: 2n ** 128n }), { maxLength: 6 });
    fc.assert(
      fc.property(arcs, (rest) => {
        const dotted = ['2', '25', ...rest].join('.');
        expect(readDer(der.oid(dotted), (r) => r.oid())).toBe(dotted);
      }),
    );
  });
});
