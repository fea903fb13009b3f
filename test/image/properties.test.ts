import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type ByteSource, fromUtf8, sourceOf } from '../../src/bytes/index.ts';
import { ImageError, type ImageFormat, layOut, readImage } from '../../src/image/index.ts';
import { allOf, PLAIN_MAP, segmentsOf } from './helpers.ts';
import { type Piece, writeElf, writeHex, writeSRecords } from './writers.ts';

const RUNS = { numRuns: 200 };

/** Sorted pieces with at least one free byte between them, below `top`. */
function pieces(base = 0, top = 2 ** 32): fc.Arbitrary<Piece[]> {
  const one = fc.record({
    gap: fc.integer({ min: 1, max: 70_000 }),
    bytes: fc.uint8Array({ minLength: 1, maxLength: 80 }),
  });
  const start = fc.integer({ min: base, max: top - 8 * 70_100 });
  return fc.tuple(start, fc.array(one, { minLength: 1, maxLength: 8 })).map(([first, parts]) => {
    let end = first;
    return parts.map(({ gap, bytes }) => {
      const address = end + gap;
      end = address + bytes.length;
      return { address, bytes };
    });
  });
}

const shuffled = (list: Piece[]) =>
  fc.shuffledSubarray(list, { minLength: list.length, maxLength: list.length });

/** The same bytes, but reads come from everywhere and pieces are as small as asked for. */
function counted(bytes: Uint8Array): ByteSource {
  return { size: bytes.length, read: (offset, length) => sourceOf(bytes).read(offset, length).slice() };
}

function readsBack(bytes: Uint8Array, format: ImageFormat, expected: Piece[]): void {
  const image = readImage(counted(bytes));
  expect(image.format).toBe(format);
  expect(segmentsOf(image)).toEqual(expected);
}

describe('whatever is written reads back', () => {
  const widths = fc.integer({ min: 1, max: 250 });
  const lineEnds = fc.constantFrom('\n', '\r\n');

  test('Intel HEX, records in any order', () => {
    const inputs = pieces().chain((list) => fc.tuple(fc.constant(list), shuffled(list), widths, lineEnds));
    fc.assert(
      fc.property(inputs, ([list, order, width, lineEnd]) => {
        readsBack(fromUtf8(writeHex(order, width, lineEnd)), 'ihex', list);
      }),
      RUNS,
    );
  });

  test('S-records of each width', () => {
    for (const type of [1, 2, 3] as const) {
      const top = type === 1 ? 2 ** 16 : 256 ** (type + 1);
      const small = fc
        .uint8Array({ minLength: 1, maxLength: 50 })
        .chain((bytes) =>
          fc.integer({ min: 0, max: top - bytes.length }).map((address) => [{ address, bytes }]),
        );
      const list = type === 1 ? small : pieces(0, top);
      fc.assert(
        fc.property(list, widths, lineEnds, (parts, width, lineEnd) => {
          readsBack(fromUtf8(writeSRecords(parts, type, width, lineEnd)), 'srec', parts);
        }),
        RUNS,
      );
    }
  });

  test('ELF of both classes and byte orders', () => {
    fc.assert(
      fc.property(pieces(), fc.boolean(), fc.boolean(), (list, wide, littleEndian) => {
        readsBack(writeElf({ wide, littleEndian, segments: list }), 'elf', list);
      }),
      RUNS,
    );
  });

  test('all formats lay out to the same image, which is the bytes put into an erased slot', () => {
    const inSlot = fc
      .array(fc.integer({ min: 0, max: 0xfff }), { minLength: 1, maxLength: 60 })
      .map((places) => {
        const sorted = [...new Set(places)].sort((a, b) => a - b);
        return sorted.map((place) => ({ address: 0x1000 + place, bytes: Uint8Array.of(place & 0xff) }));
      });
    fc.assert(
      fc.property(inSlot, (list) => {
        const slot = new Uint8Array(0x1000).fill(0xff);
        for (const { address, bytes } of list) slot.set(bytes, address - 0x1000);
        const last = list.at(-1)!.address - 0x1000;
        const files = [
          fromUtf8(writeHex(list)),
          fromUtf8(writeSRecords(list)),
          writeElf({ wide: false, littleEndian: true, segments: list }),
        ];
        for (const file of files) {
          const image = layOut(readImage(sourceOf(file)), PLAIN_MAP);
          expect(Buffer.from(allOf(image.source)).equals(slot.subarray(0, last + 1))).toBe(true);
        }
      }),
      RUNS,
    );
  });
});

/** Runs a reader on hostile input: it gives an image or an `ImageError`, nothing else. */
function onlyImageErrors(bytes: Uint8Array, format?: ImageFormat): void {
  try {
    const read = readImage(sourceOf(bytes), { format, limit: 1 << 20 });
    for (const { source, length } of read.segments) source.read(length - 1, 1);
    layOut(read, PLAIN_MAP);
  } catch (error) {
    if (!(error instanceof ImageError)) throw error;
    expect(error.message.length).toBeGreaterThan(20);
  }
}

const SAMPLE: Piece[] = [
  { address: 0x1000, bytes: Uint8Array.from({ length: 40 }, (_, i) => i * 7) },
  { address: 0x1100, bytes: Uint8Array.of(1, 2, 3) },
];
const FILES: [ImageFormat, Uint8Array][] = [
  ['ihex', fromUtf8(writeHex(SAMPLE))],
  ['srec', fromUtf8(writeSRecords(SAMPLE))],
  ['elf', writeElf({ wide: false, littleEndian: true, segments: SAMPLE })],
  ['elf', writeElf({ wide: true, littleEndian: false, segments: SAMPLE })],
];

describe('hostile input gives only ImageError', () => {
  for (const [format, file] of FILES) {
    test(`${format}, ${file.length} bytes: cut at every byte`, () => {
      for (let length = 0; length < file.length; length++) onlyImageErrors(file.subarray(0, length), format);
    });

    test(`${format}, ${file.length} bytes: bytes changed, removed and put in`, () => {
      const change = fc.tuple(fc.nat(file.length - 1), fc.nat(2), fc.uint8Array({ maxLength: 4 }));
      fc.assert(
        fc.property(fc.array(change, { minLength: 1, maxLength: 4 }), fc.boolean(), (changes, named) => {
          const bytes = Array.from(file);
          for (const [at, removed, added] of changes) bytes.splice(at, removed, ...added);
          onlyImageErrors(Uint8Array.from(bytes), named ? format : undefined);
        }),
        { numRuns: 1000 },
      );
    });
  }

  test('arbitrary bytes as any format', () => {
    const formats = fc.constantFrom<ImageFormat | undefined>(undefined, 'raw', 'ihex', 'srec', 'elf');
    fc.assert(fc.property(fc.uint8Array({ maxLength: 300 }), formats, onlyImageErrors), { numRuns: 1000 });
  });

  test('an ELF header with arbitrary fields', () => {
    const [, file] = FILES[3]!;
    fc.assert(
      fc.property(
        fc.nat(63 + 112),
        fc.constantFrom(0, 1, 0x7f, 0x80, 0xff),
        fc.nat(7),
        (at, value, length) => {
          const bytes = file.slice();
          bytes.fill(value, at, at + length + 1);
          onlyImageErrors(bytes, 'elf');
        },
      ),
      { numRuns: 1000 },
    );
  });
});

describe('a text file cut anywhere is refused', () => {
  for (const [format, file] of FILES.slice(0, 2)) {
    test(`${format}: every cut before the last character of the end record`, () => {
      const end = Buffer.from(file).toString().trimEnd().length;
      for (let length = 1; length < end; length++) {
        const cut = () => readImage(sourceOf(file.subarray(0, length)), { format });
        expect(cut, `cut at ${length}`).toThrow(ImageError);
      }
    });
  }
});

describe('every change of a single character in a text file is caught or changes nothing', () => {
  const characters = [...Array(128).keys(), 0x80, 0xff];
  for (const [format, file] of FILES.slice(0, 2)) {
    test(`${format}: every character of every line, by every other one`, () => {
      const expected = segmentsOf(readImage(sourceOf(file)));
      for (let at = 0; at < file.length; at++) {
        for (const character of characters) {
          const bytes = file.slice();
          bytes[at] = character;
          const result = outcome(bytes, format);
          if (result !== 'refused') expect(result, `character ${character} at ${at}`).toEqual(expected);
        }
      }
    });
  }

  function outcome(bytes: Uint8Array, format: ImageFormat): Piece[] | 'refused' {
    try {
      return segmentsOf(readImage(sourceOf(bytes), { format }));
    } catch (error) {
      if (error instanceof ImageError) return 'refused';
      throw error;
    }
  }
});
