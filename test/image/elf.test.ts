import { describe, expect, test } from 'vitest';
import { type ByteSource, sourceOf } from '../../src/bytes/index.ts';
import { readImage } from '../../src/image/index.ts';
import { refused, segmentsOf } from './helpers.ts';
import { type ElfShape, writeElf } from './writers.ts';

const KINDS = [
  { wide: false, littleEndian: true },
  { wide: false, littleEndian: false },
  { wide: true, littleEndian: true },
  { wide: true, littleEndian: false },
];
const text = { address: 0x08000000, bytes: Uint8Array.of(1, 2, 3, 4) };
const data = { address: 0x08000010, bytes: Uint8Array.of(5, 6), virtualAddress: 0x20000000, memorySize: 64 };

function elf(shape: Partial<ElfShape> = {}): Uint8Array {
  return writeElf({ wide: false, littleEndian: true, segments: [text, data], ...shape });
}

function read(bytes: Uint8Array) {
  return readImage(sourceOf(bytes));
}

/** The file with one field overwritten: 16-bit numbers in little-endian order unless wider is asked for. */
function patched(bytes: Uint8Array, offset: number, value: number, width: 1 | 2 | 4 = 2): Uint8Array {
  const copy = bytes.slice();
  for (let i = 0; i < width; i++) copy[offset + i] = (value >>> (8 * i)) & 0xff;
  return copy;
}

describe('ELF (System V ABI chapters 4 and 5, from memory): what is read', () => {
  for (const kind of KINDS) {
    const title = `${kind.wide ? 64 : 32} bit, ${kind.littleEndian ? 'little' : 'big'}-endian`;
    test(`${title}: PT_LOAD segments at their physical address, without what only memory has`, () => {
      const image = read(elf({ ...kind, machine: 243, entry: 0x08000001 }));
      expect(image).toMatchObject({
        format: 'elf',
        machine: 243,
        entry: 0x08000001,
        size: 6,
        floating: false,
      });
      expect(segmentsOf(image)).toEqual([
        { address: 0x08000000, bytes: text.bytes },
        { address: 0x08000010, bytes: data.bytes },
      ]);
    });
  }

  test('segments in any order, other program headers and segments without bytes are passed over', () => {
    const empty = { address: 0x20000000, bytes: new Uint8Array(0), memorySize: 4096 };
    const note = { address: 0x08000000, bytes: Uint8Array.of(9), type: 4 };
    const image = read(elf({ segments: [empty, data, note, text] }));
    expect(image.segments.map(({ address }) => address)).toEqual([0x08000000, 0x08000010]);
    expect(image.locate(0x08000011)).toEqual({ record: 1, offset: 52 + 4 * 32 + 1, address: 0x08000011 });
  });

  test('addresses above 32 bits', () => {
    const far = { address: 2 ** 40, bytes: Uint8Array.of(1) };
    expect(read(elf({ wide: true, segments: [far] })).segments[0]!.address).toBe(2 ** 40);
  });

  test('a large segment is not read: only headers are', () => {
    const head = elf({ wide: true, segments: [{ ...text, bytes: new Uint8Array(0) }] });
    const size = 2 ** 32;
    const view = new DataView(head.buffer);
    for (const field of [32, 40]) view.setBigUint64(64 + field, BigInt(size), true);
    let bytesRead = 0;
    const source: ByteSource = {
      size: head.length + size,
      read(offset, length) {
        bytesRead += length;
        const out = new Uint8Array(length);
        out.set(head.subarray(offset, Math.min(head.length, offset + length)));
        return out;
      },
    };
    const [segment] = readImage(source).segments;
    expect(segment!.length).toBe(size);
    expect(bytesRead).toBeLessThan(4096);
    expect(segment!.source.read(size - 4, 4)).toEqual(new Uint8Array(4));
  });
});

describe('ELF: refusals', () => {
  test('unknown class, byte order, identification version, object version', () => {
    refused('elf-header', () => read(patched(elf(), 4, 3, 1)), { offset: 4 });
    refused('elf-header', () => read(patched(elf(), 5, 0, 1)), { offset: 5 });
    refused('elf-header', () => read(patched(elf(), 6, 2, 1)), { offset: 6 });
    refused('elf-header', () => read(patched(elf(), 20, 2, 4)), { offset: 20 });
  });

  test('an object file that is not linked; a core dump', () => {
    expect(refused('elf-type', () => read(elf({ type: 1 }))).says).toContain('not linked yet');
    expect(refused('elf-type', () => read(elf({ type: 4 }))).says).toContain('core dump');
  });

  test('headers of the wrong size, and more of them than their count can say', () => {
    refused('elf-header', () => read(patched(elf(), 40, 64)), { offset: 40 });
    refused('elf-header', () => read(patched(elf(), 42, 56)), { offset: 42 });
    refused('elf-header', () => read(patched(elf(), 44, 0xffff)), { offset: 44 });
  });

  test('program headers or bytes beyond the end of the file', () => {
    refused('truncated', () => read(elf().subarray(0, 40)));
    refused('truncated', () => read(elf().subarray(0, 52 + 40)));
    refused('truncated', () => read(elf().subarray(0, -1)), { record: 1, address: 0x08000010 });
    refused('truncated', () => read(patched(elf(), 28, 0xfffffff0, 4)));
  });

  test('more bytes in the file than in memory', () => {
    const odd = { ...text, memorySize: 2 };
    refused('elf-segment', () => read(elf({ segments: [odd] })), { record: 0 });
  });

  test('an address beyond 2^53', () => {
    const bytes = elf({ wide: true });
    new DataView(bytes.buffer).setBigUint64(64 + 24, 2n ** 63n, true);
    refused('elf-segment', () => read(bytes), { record: 0 });
  });

  test('overlapping segments', () => {
    const over = { address: 0x08000002, bytes: Uint8Array.of(7) };
    refused('overlap', () => read(elf({ segments: [text, over] })), { record: 1, address: 0x08000002 });
  });

  test('nothing to load', () => {
    refused('no-data', () => read(elf({ segments: [] })));
    refused('no-data', () =>
      read(elf({ segments: [{ address: 0, bytes: new Uint8Array(0), memorySize: 8 }] })),
    );
  });

  test('a section table that is damaged or lies beyond the end', () => {
    const withTable = (count: number, size: number, names: number) =>
      patched(patched(patched(patched(elf(), 32, 52, 4), 46, size), 48, count), 50, names);
    refused('elf-section', () => read(withTable(1, 39, 0)));
    refused('elf-section', () => read(withTable(0xff00, 40, 0)));
    refused('elf-section', () => read(withTable(1, 40, 1)));
    refused('truncated', () => read(withTable(200, 40, 0)));
  });
});
