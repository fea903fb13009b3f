import { describe, expect, test } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { readImage } from '../../src/image/index.ts';
import { refused, segmentsOf, textSource } from './helpers.ts';
import { hexRecord, writeHex } from './writers.ts';

const END = ':00000001FF';
const read = (...lines: string[]) => readImage(textSource(...lines), { format: 'ihex' });

describe('Intel HEX (Hexadecimal Object File Format Specification 1988, from memory): what is read', () => {
  test('a data record of the format description: 16 bytes at 0x0100', () => {
    const record = ':10010000214601360121470136007EFE09D2190140';
    expect(segmentsOf(read(record, END))).toEqual([
      { address: 0x100, bytes: new Uint8Array(Buffer.from('214601360121470136007EFE09D21901', 'hex')) },
    ]);
  });

  test('type 04: upper 16 bits of the address; type 02: segment base times 16', () => {
    expect(read(hexRecord(4, 0, [0x08, 0x04]), hexRecord(0, 0x10, [1]), END).segments[0]!.address).toBe(
      0x08040010,
    );
    expect(read(hexRecord(2, 0, [0x12, 0x34]), hexRecord(0, 0x10, [1]), END).segments[0]!.address).toBe(
      0x12350,
    );
  });

  test('types 03 and 05: start address, segmented and linear', () => {
    expect(read(hexRecord(0, 0, [1]), hexRecord(3, 0, [0x10, 0, 0, 0x20]), END).entry).toBe(0x10020);
    expect(read(hexRecord(0, 0, [1]), hexRecord(5, 0, [8, 0, 1, 1]), END).entry).toBe(0x08000101);
    expect(read(hexRecord(0, 0, [1]), END).entry).toBeUndefined();
  });

  test('records in any order become sorted, merged segments', () => {
    const lines = [hexRecord(0, 4, [5, 6]), hexRecord(0, 0, [1, 2, 3, 4]), hexRecord(0, 0x20, [9]), END];
    expect(segmentsOf(read(...lines))).toEqual([
      { address: 0, bytes: Uint8Array.of(1, 2, 3, 4, 5, 6) },
      { address: 0x20, bytes: Uint8Array.of(9) },
    ]);
  });

  test('CR LF, lower-case digits, blank lines and a missing last line end are accepted', () => {
    const text = `${hexRecord(0, 0, [0xab, 0xcd]).toLowerCase()}\r\n\r\n${END}`;
    expect(segmentsOf(read(text))).toEqual([{ address: 0, bytes: Uint8Array.of(0xab, 0xcd) }]);
  });

  test('a record up to the very end of the 32-bit address space', () => {
    const { segments } = read(hexRecord(4, 0, [0xff, 0xff]), hexRecord(0, 0xfffe, [1, 2]), END);
    expect(segments[0]!.address).toBe(0xfffffffe);
  });

  test('segmented and linear bases in one file, the unused one reset to zero (as binutils writes past 1 MiB)', () => {
    const lines = [hexRecord(2, 0, [0xf0, 0]), hexRecord(0, 0, [1]), hexRecord(2, 0, [0, 0])];
    const { segments } = read(...lines, hexRecord(4, 0, [0, 0x10]), hexRecord(0, 0, [2]), END);
    expect(segments.map(({ address }) => address)).toEqual([0xf0000, 0x100000]);
  });

  test('a byte can be traced back to its line', () => {
    const image = read(hexRecord(4, 0, [0, 1]), hexRecord(0, 0, [1, 2]), '', hexRecord(0, 2, [3, 4]), END);
    expect(image.locate(0x10003)).toEqual({ line: 4, record: 3, address: 0x10003 });
  });
});

describe('Intel HEX: refusals, each with line and record', () => {
  const data = hexRecord(0, 0, [1, 2, 3, 4]);
  const at = (line: number) => ({ line, record: line });

  test('bad checksum: the right one is named', () => {
    const error = refused(
      'bad-checksum',
      () => read(data, `${hexRecord(0, 4, [1]).slice(0, -2)}00`, END),
      at(2),
    );
    expect(error.message).toMatch(/^line 2 \(record 2\): the checksum is 00, but should be FA\. .+\. .+\.$/);
  });

  test('bad digit, with its column', () => {
    expect(refused('bad-digit', () => read(data.replace('04', '0G'), END), at(1)).says).toContain(
      "'G' in column",
    );
  });

  test('a line that does not begin with a colon', () => {
    refused('bad-start', () => read(data, 'firmware', END), at(2));
    refused('bad-start', () => read(` ${data}`, END), at(1));
  });

  test('an S-record among them', () => void refused('mixed-formats', () => read(data, 'S9030000FC'), at(2)));

  test('too short, too long, half a byte', () => {
    refused('bad-length', () => read(data.slice(0, -2), END), at(1));
    refused('bad-length', () => read(`${data}00`, END), at(1));
    refused('bad-length', () => read(`${data}0`, END), at(1));
    refused('bad-length', () => read(':', END), at(1));
  });

  test('a line that no record can fill', () => {
    refused('line-too-long', () => read(data, `:${'0'.repeat(1000)}`, END), { line: 2 });
    refused('line-too-long', () => read(data, `:${'0'.repeat(3_000_000)}`), { line: 2 });
  });

  test('a file cut inside a record, and one cut between records', () => {
    refused('truncated', () => read(data, data.slice(0, 9)), at(2));
    refused('truncated', () => read(data, ':'), at(2));
    refused('missing-end', () => read(data, ''));
  });

  test('data, or anything else, after the end record', () => {
    refused('after-end', () => read(data, END, hexRecord(0, 8, [1])), at(3));
    refused('after-end', () => read(data, END, END), at(3));
  });

  test('an unknown record type', () =>
    void refused('unknown-record', () => read(hexRecord(6, 0, [1]), END), at(1)));

  test('a record of fixed length with another one', () => {
    refused('bad-field', () => read(hexRecord(4, 0, [1]), END), at(1));
    refused('bad-field', () => read(data, hexRecord(1, 0, [1])), at(2));
    refused('bad-field', () => read(hexRecord(5, 0, [1, 2]), END), at(1));
  });

  test('an overlap names both lines and the address', () => {
    const lines = [data, hexRecord(0, 8, [1, 2]), hexRecord(0, 3, [9, 9, 9]), END];
    const error = refused('overlap', () => read(...lines), { ...at(3), address: 3 });
    expect(error.says).toContain('first in line 1');
    refused('overlap', () => read(data, data, END), { ...at(2), address: 0 });
  });

  test('64 KiB wrap inside one record', () => {
    refused('address-wrap', () => read(hexRecord(0, 0xffff, [1, 2]), END), { ...at(1), address: 0xffff });
    refused(
      'address-wrap',
      () => read(hexRecord(2, 0, [0x10, 0]), hexRecord(0, 0xfff0, new Uint8Array(17)), END),
      at(2),
    );
  });

  test('data under a segment base and a linear base at once', () => {
    const bases = [hexRecord(4, 0, [0, 1]), hexRecord(2, 0, [0x10, 0])];
    refused('mixed-addressing', () => read(...bases, data, END), at(3));
  });

  test('a second start address', () => {
    const start = hexRecord(5, 0, [8, 0, 0, 1]);
    refused('repeated-record', () => read(data, start, start, END), at(3));
  });

  test('no data at all', () => void refused('no-data', () => read(END)));
});

describe('Intel HEX: memory stays bounded by what is of use', () => {
  test('more data than the limit is refused at the record that exceeds it', () => {
    const text = writeHex([{ address: 0, bytes: new Uint8Array(4096) }]);
    const error = refused('too-large', () => readImage(textSource(text), { limit: 1024 }), { line: 65 });
    expect(error.says).toContain('1 KiB');
  });

  test('a giant text is refused by its size, before it is read', () => {
    const head = new TextEncoder().encode(`${hexRecord(0, 0, new Uint8Array(16))}\n`);
    let reads = 0;
    const giant = {
      size: 2 ** 31,
      read: (offset: number, length: number) => {
        reads++;
        return sourceOf(head.slice(0, 44)).read(offset, Math.min(length, 44));
      },
    };
    refused('too-large', () => readImage(giant, { limit: 256 * 1024 }));
    expect(reads).toBe(1);
  });

  test('twenty thousand one-byte records in falling order', () => {
    const lines = Array.from({ length: 20_000 }, (_, i) => hexRecord(0, 19_999 - i, [i & 0xff]));
    expect(read(...lines, END).segments).toHaveLength(1);
  });

  test('a quarter of a million separate bytes are no firmware', () => {
    const bank = Array.from({ length: 0x8000 }, (_, i) => hexRecord(0, 2 * i, [0])).join('\n');
    const banks = Array.from({ length: 9 }, (_, i) => `${hexRecord(4, 0, [0, i])}\n${bank}`);
    refused('too-scattered', () => read(...banks, END), { line: 8 * 0x8001 + 2 });
  });
});
