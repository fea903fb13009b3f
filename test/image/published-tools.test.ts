/**
 * The readers against independent ones: GNU binutils' objcopy and srec_cat (Debian packages binutils and srecord),
 * on firmware that others built: the Debian packages firmware-microbit-micropython and opensbi.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { defaultMemoryMap, imageForSlot, type MemoryMap, readImage } from '../../src/image/index.ts';
import { allOf, refused, segmentsOf } from './helpers.ts';
import { fileBytes, fileSource, inFolder, packageFiles, present, run } from './tools.ts';
import { hexRecord, sRecord } from './writers.ts';

const MICROBIT =
  packageFiles('firmware-microbit-micropython', /\/firmware\.hex$/)[0] ?? '/absent/firmware.hex';
const OPENSBI = packageFiles('opensbi', /\.elf$/);
const OPTION_BYTES = { name: 'option bytes', address: 0x100010c0, size: 0x40 };
/** The board: 256 KiB of flash at 0, 16 KiB of RAM. */
const MICROBIT_MAP: MemoryMap = {
  ...defaultMemoryMap({ core: 'cortex-m' }),
  link_address: 0,
  ram: { address: 0x20000000, size: 16 * 1024 },
  leave_out: [OPTION_BYTES],
};

/** Segments with their bytes as one comparable text each. */
function contentsOf(path: string): { address: number; hex: string }[] {
  const segments = segmentsOf(readImage(fileSource(path)));
  return segments.map(({ address, bytes }) => ({ address, hex: toHex(bytes) }));
}

describe.skipIf(!present(MICROBIT, 'objcopy', 'srec_cat'))(
  'real firmware in Intel HEX: micro:bit MicroPython',
  () => {
    test('objcopy -O binary without the option bytes gives the same image', () => {
      inFolder((folder) => {
        const out = join(folder, 'image.bin');
        run('objcopy', [
          '-I',
          'ihex',
          '-O',
          'binary',
          '--gap-fill',
          '0xff',
          '--remove-section=.sec5',
          MICROBIT,
          out,
        ]);
        const image = imageForSlot(fileSource(MICROBIT), MICROBIT_MAP);
        expect(image.address).toBe(0);
        expect(Buffer.from(allOf(image.source)).equals(fileBytes(out))).toBe(true);
      });
    });

    test('srec_cat with the option bytes cropped and gaps filled gives the same image', () => {
      inFolder((folder) => {
        const out = join(folder, 'image.bin');
        const crop = ['-crop', '0', '0x40000', '-fill', '0xff', '0'];
        const image = imageForSlot(fileSource(MICROBIT), MICROBIT_MAP);
        run('srec_cat', [MICROBIT, '-intel', ...crop, String(image.size), '-o', out, '-binary']);
        expect(Buffer.from(allOf(image.source)).equals(fileBytes(out))).toBe(true);
      });
    });

    test('the data at 0x100010C0 is reported as left out, and refused where the class does not name it', () => {
      const image = imageForSlot(fileSource(MICROBIT), MICROBIT_MAP);
      expect(image.leftOut).toEqual([{ name: 'option bytes', address: 0x100010c0, length: 28 }]);
      expect(image.vectorTable?.stackPointer).toBe(0x20004000);
      const strict = { ...MICROBIT_MAP, leave_out: [] };
      refused('outside-slot', () => imageForSlot(fileSource(MICROBIT), strict), {
        address: 0x100010c0,
        line: 15247,
      });
    });

    test('the same firmware written by both tools as HEX and S-record, in several widths, reads the same', () => {
      inFolder((folder) => {
        const expected = contentsOf(MICROBIT);
        const rewritten = (name: string, program: string, ...args: string[]) => {
          const out = join(folder, name);
          run(program, [...args.map((arg) => (arg === 'OUT' ? out : arg))]);
          expect(contentsOf(out), name).toEqual(expected);
        };
        rewritten('o.hex', 'objcopy', '-I', 'ihex', '-O', 'ihex', MICROBIT, 'OUT');
        rewritten('o.srec', 'objcopy', '-I', 'ihex', '-O', 'srec', MICROBIT, 'OUT');
        rewritten('s32.hex', 'srec_cat', MICROBIT, '-intel', '-o', 'OUT', '-intel', '-obs=32');
        rewritten('s16.hex', 'srec_cat', MICROBIT, '-intel', '-o', 'OUT', '-intel', '-obs=16');
        const start = ['-execution-start-address', '0x1ccd9'];
        rewritten('mixed.srec', 'srec_cat', MICROBIT, '-intel', ...start, '-o', 'OUT', '-motorola');
        rewritten('s3.srec', 'srec_cat', MICROBIT, '-intel', ...start, '-o', 'OUT', '-motorola', '-obs=32');
      });
    });
  },
);

describe.skipIf(!present('objcopy', 'srec_cat'))(
  'segmented addresses: files that the tools write below and above 1 MiB',
  () => {
    test('3 MB at 0xC000: objcopy writes type 02 and 04 records, srec_cat type 04 only', () => {
      inFolder((folder) => {
        const [raw, hex, other] = ['r.bin', 'o.hex', 's.hex'].map((name) => join(folder, name)) as [
          string,
          string,
          string,
        ];
        const bytes = Uint8Array.from({ length: 3_000_000 }, (_, i) => (i * 2654435761) >>> 24);
        writeFileSync(raw, bytes);
        run('objcopy', ['-I', 'binary', '-O', 'ihex', '--change-addresses', '0xC000', raw, hex]);
        run('srec_cat', [raw, '-binary', '-offset', '0xC000', '-o', other, '-intel']);
        for (const path of [hex, other]) {
          const [segment, ...more] = segmentsOf(readImage(fileSource(path)));
          expect(more).toEqual([]);
          expect(segment!.address).toBe(0xc000);
          expect(Buffer.from(segment!.bytes).equals(bytes)).toBe(true);
        }
      });
    });

    test('what the tests write by hand, srec_cat reads as we do', () => {
      inFolder((folder) => {
        const lines = {
          ihex: [hexRecord(2, 0, [0x12, 0x34]), hexRecord(0, 0x10, [1, 2, 3]), hexRecord(1, 0, [])],
          srec: [sRecord(2, 0x12350, [1, 2, 3]), sRecord(5, 1, []), sRecord(8, 0, [])],
        };
        for (const [format, option] of [
          ['ihex', '-intel'],
          ['srec', '-motorola'],
        ] as const) {
          const [path, out] = [join(folder, format), join(folder, `${format}.bin`)];
          writeFileSync(path, `${lines[format].join('\n')}\n`);
          run('srec_cat', [path, option, '-offset', '-0x12350', '-o', out, '-binary']);
          const [segment] = segmentsOf(readImage(fileSource(path)));
          expect(segment).toEqual({ address: 0x12350, bytes: fileBytes(out) });
        }
      });
    });
  },
);

const hasOpensbi = present('objcopy', ...(OPENSBI.length > 0 ? OPENSBI : ['/absent/opensbi.elf']));
describe.skipIf(!hasOpensbi)('real firmware in 64-bit ELF: OpenSBI', () => {
  for (const path of OPENSBI) {
    test(`the image is what objcopy -O binary gives and what the package ships: ${path.split('/').at(-1)}`, () => {
      inFolder((folder) => {
        const out = join(folder, 'image.bin');
        run('objcopy', ['-I', 'elf64-little', '-O', 'binary', path, out]);
        const map = defaultMemoryMap({ core: 'none', slotSize: 2 ** 20 });
        const image = imageForSlot(fileSource(path), { ...map, link_address: 0x80000000 });
        expect(image.address).toBe(0x80000000);
        expect(Buffer.from(allOf(image.source)).equals(fileBytes(out))).toBe(true);
        expect(Buffer.from(allOf(image.source)).equals(fileBytes(path.replace(/elf$/, 'bin')))).toBe(true);
      });
    });
  }
});

describe.skipIf(!present('arm-none-eabi-gcc', 'arm-none-eabi-objcopy'))('ELF as GNU ld writes it', () => {
  test('the file headers, which ld puts into the first segment of a program with an offset, are left away', () => {
    inFolder((folder) => {
      const [source, elf, out] = ['a.c', 'a.elf', 'a.bin'].map((name) => join(folder, name)) as [
        string,
        string,
        string,
      ];
      writeFileSync(
        source,
        'const unsigned v[4] __attribute__((section(".text.v"))) = {1, 2, 3, 4}; int initialised = 5;',
      );
      const placed = ['-Ttext=0x08001000', '-Tdata=0x08002000', '-z,max-page-size=65536', '-e,0'];
      run('arm-none-eabi-gcc', [
        '-mcpu=cortex-m3',
        '-nostdlib',
        ...placed.map((o) => `-Wl,${o}`),
        source,
        '-o',
        elf,
      ]);
      run('arm-none-eabi-objcopy', ['-O', 'binary', elf, out]);
      const map = defaultMemoryMap({ core: 'none', slotSize: 2 ** 16 });
      const flash = { ...map.flash, erased_value: 0 };
      const image = imageForSlot(fileSource(elf), { ...map, flash, link_address: 0x08001000 });
      expect(toHex(fileBytes(elf).subarray(0, 4))).toBe('7f454c46');
      expect(readImage(fileSource(elf)).segments[0]!.address).toBe(0x08001000);
      expect(toHex(allOf(image.source))).toBe(toHex(fileBytes(out)));
    });
  });
});
