import { describe, expect, test } from 'vitest';
import { type ByteSource, concat, fromUtf8, sourceOf } from '../../src/bytes/index.ts';
import { defaultMemoryMap, imageForSlot, layOut, type MemoryMap, readImage } from '../../src/image/index.ts';
import { allOf, PLAIN_MAP, refused, textSource, vectors } from './helpers.ts';
import { type Piece, writeElf, writeHex } from './writers.ts';

const filled = (length: number, value = 0xaa) => new Uint8Array(length).fill(value);
const hexOf = (...pieces: Piece[]) => textSource(writeHex(pieces));
const plain = (change: Partial<MemoryMap> = {}): MemoryMap => ({ ...PLAIN_MAP, ...change });

describe('flat image: one range of bytes for a slot (RFC 9124 4.3.15: gap fill is part of the image)', () => {
  test('gaps are filled with the erased value, and the image ends with its last byte of data', () => {
    const source = hexOf(
      { address: 0x1002, bytes: Uint8Array.of(1, 2) },
      { address: 0x1006, bytes: Uint8Array.of(3) },
    );
    const image = imageForSlot(source, plain());
    expect(image).toMatchObject({ format: 'ihex', slot: 'A', address: 0x1000, size: 7, leftOut: [] });
    expect(image.gaps).toEqual([
      { address: 0x1000, length: 2 },
      { address: 0x1004, length: 2 },
    ]);
    expect(Buffer.from(allOf(image.source)).toString('hex')).toBe('ffff0102ffff03');
    const zeroed = imageForSlot(source, plain({ flash: { ...PLAIN_MAP.flash, erased_value: 0 } }));
    expect(Buffer.from(allOf(zeroed.source)).toString('hex')).toBe('00000102000003');
  });

  test('a raw image begins where its slot begins and may fill it to the last byte', () => {
    const image = imageForSlot(sourceOf(filled(0x1000)), plain(), { slotName: 'B' });
    expect(image).toMatchObject({ format: 'raw', slot: 'B', address: 0x2000, size: 0x1000, gaps: [] });
  });

  test('a raw image with a base of its own is placed there', () => {
    const read = readImage(sourceOf(filled(4)), { base: 0x1010 });
    expect(layOut(read, plain())).toMatchObject({ size: 0x14, gaps: [{ address: 0x1000, length: 0x10 }] });
  });

  test('any part of the image can be read on its own', () => {
    const bytes = Uint8Array.from({ length: 64 }, (_, i) => i);
    const pieces = [
      { address: 0x1000, bytes: bytes.subarray(0, 10) },
      { address: 0x1014, bytes: bytes.subarray(20, 40) },
      { address: 0x1030, bytes: bytes.subarray(48) },
    ];
    const { source } = imageForSlot(hexOf(...pieces), plain());
    const whole = allOf(source);
    for (let offset = 0; offset <= whole.length; offset++) {
      for (let end = offset; end <= whole.length; end++) {
        expect(source.read(offset, end - offset)).toEqual(whole.subarray(offset, end));
      }
    }
    expect(() => source.read(60, 5)).toThrow(RangeError);
    expect(() => source.read(-1, 2)).toThrow(RangeError);
  });

  test('a 2 GiB raw image for a 2 GiB slot: nothing but the head is read until it is asked for', () => {
    let bytesRead = 0;
    const source: ByteSource = {
      size: 2 ** 31,
      read: (offset, length) => {
        bytesRead += length;
        return filled(length, offset & 0xff);
      },
    };
    const image = imageForSlot(source, defaultMemoryMap({ core: 'none', slotSize: 2 ** 31 }));
    expect(image.size).toBe(2 ** 31);
    expect(bytesRead).toBeLessThan(4096);
    expect(image.source.read(2 ** 31 - 2, 2)).toEqual(Uint8Array.of(0xfe, 0xfe));
  });
});

describe('flat image: ranges to leave out (issue 2: option bytes)', () => {
  const range = { name: 'option bytes', address: 0x9000, size: 0x20 };

  test('data inside is left out and reported, with its true length', () => {
    const source = hexOf({ address: 0x1000, bytes: filled(4) }, { address: 0x9010, bytes: filled(8, 1) });
    const image = imageForSlot(source, plain({ leave_out: [range] }));
    expect(image).toMatchObject({ size: 4, leftOut: [{ name: 'option bytes', address: 0x9010, length: 8 }] });
  });

  test('a segment that reaches over the range is cut at both ends; inside the slot the hole is filled', () => {
    const inside = { name: 'hole', address: 0x1004, size: 4 };
    const image = imageForSlot(
      hexOf({ address: 0x1000, bytes: filled(12, 1) }),
      plain({ leave_out: [inside] }),
    );
    expect(image.leftOut).toEqual([{ name: 'hole', address: 0x1004, length: 4 }]);
    expect(Buffer.from(allOf(image.source)).toString('hex')).toBe('01010101ffffffff01010101');
  });

  test('what remains of a cut segment outside the slot is refused', () => {
    const source = hexOf({ address: 0x1000, bytes: filled(4) }, { address: 0x8ff0, bytes: filled(0x20) });
    refused('outside-slot', () => imageForSlot(source, plain({ leave_out: [range] })), { address: 0x8ff0 });
  });

  test('nothing but left-out data is no image', () => {
    const source = hexOf({ address: 0x9000, bytes: filled(4) });
    refused('no-data', () => imageForSlot(source, plain({ leave_out: [range] })));
  });

  test('left-out data does not count against the slot', () => {
    const wide = { name: 'elsewhere', address: 0x9000, size: 0x1000 };
    const source = hexOf(
      { address: 0x1000, bytes: filled(0x1000) },
      { address: 0x9000, bytes: filled(0x1000) },
    );
    expect(imageForSlot(source, plain({ leave_out: [wide] })).size).toBe(0x1000);
  });
});

describe('flat image: data that does not fit the slot', () => {
  test('below and behind the slot: line, record and address of the first byte outside', () => {
    const below = hexOf({ address: 0x1000, bytes: filled(32) }, { address: 0xffe, bytes: filled(1) });
    refused('outside-slot', () => imageForSlot(below, plain()), { line: 3, record: 3, address: 0xffe });
    const behind = hexOf({ address: 0x1000, bytes: filled(4) }, { address: 0x4ff8, bytes: filled(8) });
    refused('outside-slot', () => imageForSlot(behind, plain()), { line: 2, address: 0x4ff8 });
  });

  test('a segment that runs over the end of the slot', () => {
    const source = hexOf({ address: 0x2ff0, bytes: filled(32) });
    const error = refused('outside-slot', () => imageForSlot(source, plain(), { slotName: 'B' }), {
      line: 2,
    });
    expect(error.address).toBe(0x3000);
  });

  test('larger than the slot: both sizes are named', () => {
    const error = refused('too-large', () => imageForSlot(sourceOf(filled(0x1001)), plain()));
    expect(error.says).toBe('the image has 4097 bytes, slot A has 4 KiB');
    const elf = writeElf({
      wide: false,
      littleEndian: true,
      segments: [{ address: 0x1000, bytes: filled(0x1001) }],
    });
    refused('too-large', () => imageForSlot(sourceOf(elf), plain()));
  });

  test('a 2 GiB image for a 256 KiB slot is refused by its size; only the head is read', () => {
    let bytesRead = 0;
    const read = (_: number, length: number) => {
      bytesRead += length;
      return new Uint8Array(length);
    };
    const map = defaultMemoryMap({ core: 'cortex-m' });
    const error = refused('too-large', () => imageForSlot({ size: 2 ** 31, read }, map));
    expect(error.says).toBe('the image has 2 GiB, slot A has 256 KiB');
    expect(bytesRead).toBeLessThan(4096);
  });

  test('linked for the other slot', () => {
    const source = hexOf({ address: 0x2000, bytes: filled(4) });
    const error = refused('wrong-slot', () => imageForSlot(source, plain()), { address: 0x2000, line: 1 });
    expect(error.message).toContain('was linked for slot B');
    expect(error.next).toBe('Give it as the image for slot B; for slot A, link it for 0x00001000.');
    const remapped = defaultMemoryMap({ core: 'none', slotSize: 0x1000 });
    const second = hexOf({ address: remapped.slots[1]!.address, bytes: filled(4) });
    expect(refused('wrong-slot', () => imageForSlot(second, remapped)).next).toMatch(/run from one address/);
  });

  test('a slot the class does not have', () => {
    const error = refused('unknown-slot', () =>
      imageForSlot(sourceOf(filled(4)), plain(), { slotName: 'C' }),
    );
    expect(error.says).toContain('it has A, B');
  });

  test('initialised data without a load address in flash, in RAM', () => {
    const map = defaultMemoryMap({ core: 'cortex-m' });
    const segments = [
      { address: 0x08000000, bytes: vectors(0x20010000, 0x08000009) },
      { address: 0x20000000, bytes: filled(4) },
    ];
    const elf = sourceOf(writeElf({ wide: false, littleEndian: true, segments }));
    expect(refused('outside-slot', () => imageForSlot(elf, map), { record: 1 }).says).toContain('in RAM');
  });
});

describe('flat image: Cortex-M vector table (Armv7-M ARM B1.5.3, B1.5.5, from memory)', () => {
  const map = defaultMemoryMap({ core: 'cortex-m' });
  const withHead = (stackPointer: number, reset: number, length = 64) =>
    sourceOf(concat(vectors(stackPointer, reset), filled(length)));

  test('a sound head is read out', () => {
    expect(imageForSlot(withHead(0x20010000, 0x08000041), map).vectorTable).toEqual({
      stackPointer: 0x20010000,
      resetVector: 0x08000040,
    });
    expect(imageForSlot(withHead(0x20000004, 0x08000009, 0), map).size).toBe(8);
  });

  test('the stack pointer lies above the first byte of RAM and at most at its end, word aligned', () => {
    for (const wrong of [0x20000000, 0x20010004, 0, 0xffffffff, 0x08000100, 0x20000002, 0x2000fffd]) {
      refused('stack-pointer', () => imageForSlot(withHead(wrong, 0x08000041), map), { address: 0x08000000 });
    }
  });

  test('the reset vector lies inside the range the image is linked for', () => {
    for (const wrong of [0, 0x07ffffff, 0x08040001, 0xffffffff, 0x20000101]) {
      refused('reset-vector', () => imageForSlot(withHead(0x20010000, wrong), map), { address: 0x08000004 });
    }
    expect(imageForSlot(withHead(0x20010000, 0x0803ffff), map).vectorTable?.resetVector).toBe(0x0803fffe);
  });

  test('the Thumb bit is set', () => {
    refused('thumb-bit', () => imageForSlot(withHead(0x20010000, 0x08000040), map));
  });

  test('the image has at least the two words, at the very beginning of the slot', () => {
    refused('vector-table', () =>
      imageForSlot(sourceOf(vectors(0x20010000, 0x08000009).subarray(0, 7)), map),
    );
    const later = hexOf({ address: 0x08000100, bytes: vectors(0x20010000, 0x08000109) });
    refused('vector-table', () => imageForSlot(later, map), { line: 2, address: 0x08000100 });
  });

  test('linked slots: each image against its own slot', () => {
    const linked = defaultMemoryMap({ core: 'cortex-m', shape: 'linked' });
    const forB = withHead(0x20010000, 0x08040009);
    expect(imageForSlot(forB, linked, { slotName: 'B' })).toMatchObject({ slot: 'B', address: 0x08040000 });
    const error = refused('reset-vector', () => imageForSlot(forB, linked));
    expect(error.says).toContain('the image was linked for slot B');
  });

  test('an ELF file for another processor', () => {
    const segments = [{ address: 0x08000000, bytes: vectors(0x20010000, 0x08000009) }];
    const elf = (machine: number) =>
      sourceOf(writeElf({ wide: false, littleEndian: true, segments, machine }));
    expect(imageForSlot(elf(40), map).size).toBe(8);
    refused('elf-machine', () => imageForSlot(elf(243), map));
  });

  test('a file that is something else is named in the refusal', () => {
    const zip = sourceOf(fromUtf8('PK\x03\x04 and so on'));
    expect(refused('stack-pointer', () => imageForSlot(zip, map)).says).toContain(
      'seems to be a ZIP archive',
    );
  });

  test('core none has no vector table', () => {
    const none = defaultMemoryMap({ core: 'none' });
    expect(imageForSlot(sourceOf(filled(1)), none).vectorTable).toBeUndefined();
  });
});
