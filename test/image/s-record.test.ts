import { describe, expect, test } from 'vitest';
import { readImage } from '../../src/image/index.ts';
import { refused, segmentsOf, textSource } from './helpers.ts';
import { sRecord } from './writers.ts';

const END = 'S9030000FC';
const read = (...lines: string[]) => readImage(textSource(...lines), { format: 'srec' });

describe('Motorola S-record (M68000 family manuals, from memory): what is read', () => {
  test('the example of the format description: header, data, count, end', () => {
    const lines = [
      'S00F000068656C6C6F202020202000003C',
      'S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026',
      'S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9',
      'S111003848656C6C6F20776F726C642E0A0042',
      'S5030003F9',
      'S9030000FC',
    ];
    const image = read(...lines);
    expect(image).toMatchObject({ format: 'srec', size: 70, entry: 0 });
    expect(Buffer.from(segmentsOf(image)[0]!.bytes.subarray(0x38, 0x45)).toString()).toBe('Hello world.\n');
  });

  test('S1, S2 and S3: addresses of 16, 24 and 32 bits; writers mix them', () => {
    const lines = [sRecord(1, 0xfff0, [1]), sRecord(2, 0x10000, [2]), sRecord(3, 0x08000000, [3]), END];
    expect(read(...lines).segments.map(({ address }) => address)).toEqual([0xfff0, 0x10000, 0x08000000]);
  });

  test('S7, S8 and S9 end the file and give the start address', () => {
    expect(read(sRecord(3, 0, [1]), sRecord(7, 0x08000101, [])).entry).toBe(0x08000101);
    expect(read(sRecord(2, 0, [1]), sRecord(8, 0x123456, [])).entry).toBe(0x123456);
    expect(read(sRecord(1, 0, [1]), sRecord(9, 0x1234, [])).entry).toBe(0x1234);
  });

  test('S5 and S6: count of 16 and 24 bits', () => {
    for (const type of [5, 6]) {
      expect(read(sRecord(1, 0, [1]), sRecord(1, 1, [2]), sRecord(type, 2, []), END).size).toBe(2);
    }
  });
});

describe('Motorola S-record: refusals, each with line and record', () => {
  const data = sRecord(1, 0, [1, 2, 3, 4]);
  const at = (line: number) => ({ line, record: line });

  test('bad checksum', () => {
    const error = refused('bad-checksum', () => read(`${data.slice(0, -2)}00`, END), at(1));
    expect(error.says).toContain('should be EE');
  });

  test('bad digit, bad start, mixed formats', () => {
    refused('bad-digit', () => read(data.replace('04', '0x'), END), at(1));
    refused('bad-start', () => read(data, data.toLowerCase(), END), at(2));
    refused('mixed-formats', () => read(data, ':00000001FF'), at(2));
  });

  test('too short, too long', () => {
    refused('bad-length', () => read(data.slice(0, -2), END), at(1));
    refused('bad-length', () => read(`${data}00`, END), at(1));
    refused('bad-length', () => read('S', END), at(1));
    refused('line-too-long', () => read(`S1FF${'0'.repeat(600)}`, END), { line: 1 });
  });

  test('a record without room for its address', () =>
    void refused('bad-field', () => read('S101FE', END), at(1)));

  test('S4 is reserved; a type that is no digit', () => {
    refused('unknown-record', () => read(data, sRecord(4, 0, []), END), at(2));
    refused('unknown-record', () => read(`SA${data.slice(2)}`, END), at(1));
  });

  test('a count that is wrong, comes twice or too early, or has data', () => {
    refused('wrong-count', () => read(data, sRecord(5, 2, []), END), at(2));
    refused('repeated-record', () => read(data, sRecord(5, 1, []), sRecord(5, 1, []), END), at(3));
    refused('record-order', () => read(data, sRecord(5, 1, []), sRecord(1, 8, [1]), END), at(3));
    refused('bad-field', () => read(data, sRecord(5, 1, [7]), END), at(2));
  });

  test('a header behind data, or a second one', () => {
    refused('record-order', () => read(data, sRecord(0, 0, []), END), at(2));
    refused('repeated-record', () => read(sRecord(0, 0, []), sRecord(0, 0, []), data, END), at(2));
  });

  test('cut inside a record, between records; data after the end', () => {
    refused('truncated', () => read(data, 'S1'), at(2));
    refused('truncated', () => read(data, 'S'), at(2));
    refused('missing-end', () => read(data, sRecord(5, 1, []), ''));
    refused('after-end', () => read(data, END, data), at(3));
  });

  test('an address that wraps inside a record', () => {
    refused('address-wrap', () => read(sRecord(1, 0xffff, [1, 2]), END), { ...at(1), address: 0xffff });
    refused('address-wrap', () => read(sRecord(2, 0xffffff, [1, 2]), END), at(1));
    refused('address-wrap', () => read(sRecord(3, 0xffffffff, [1, 2]), END), at(1));
  });

  test('an overlap', () =>
    void refused('overlap', () => read(data, sRecord(1, 2, [9]), END), { ...at(2), address: 2 }));

  test('a record wider than its address needs, among narrower ones: its type digit may be damaged', () => {
    const lines = [sRecord(3, 0x1000, [1]), sRecord(1, 0x2000, [2]), sRecord(3, 0x1010, [3]), END];
    refused('mixed-widths', () => read(...lines), { ...at(1), address: 0x1000 });
    expect(read(sRecord(2, 0x1000, [1]), sRecord(3, 0x1000000, [1]), END).size).toBe(2);
  });

  test('a header with an address', () => {
    refused('bad-field', () => read(sRecord(0, 0x0800, [1]), data, END), at(1));
  });

  test('no data', () => void refused('no-data', () => read(sRecord(1, 0, []), END)));
});
