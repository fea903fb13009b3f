/** The demo's firmware: built again, compared with independent converters, and its control laws run on this machine. */
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { defaultMemoryMap, imageForSlot } from '../../src/image/index.ts';
import { allOf } from './helpers.ts';
import { fileBytes, fileSource, inFolder, outputOf, present, run } from './tools.ts';

const FOLDER = fileURLToPath(new URL('../../demo/firmware', import.meta.url));
const BUILT = { 'vent-1.4.0': 'hex', 'vent-1.5.0': 'hex', 'dosing-2.1.0': 'srec' };
const NAMES = Object.entries(BUILT).map(([name, ending]) => `${name}.${ending}`);
/** Compiler that made the committed files (demo/firmware/README.md). */
const COMPILER = '12.2.1';
const map = defaultMemoryMap({ core: 'cortex-m' });

describe('demo firmware: as committed', () => {
  for (const name of NAMES) {
    test(`${name} fits a default class and bears its version`, () => {
      const image = imageForSlot(fileSource(join(FOLDER, name)), map);
      expect(image.vectorTable?.stackPointer).toBe(map.ram.address + map.ram.size);
      const [, program, version] = /^(\w+)-([\d.]+)\.\w+$/.exec(name)!;
      expect(Buffer.from(allOf(image.source)).toString('latin1')).toContain(`${program} ${version}\0`);
    });
  }
});

function sameCompiler(): boolean {
  if (!present('arm-none-eabi-gcc', 'arm-none-eabi-objcopy', 'srec_cat')) return false;
  const version = outputOf('arm-none-eabi-gcc', '-dumpfullversion').trim();
  if (version === COMPILER) return true;
  console.warn(`SKIPPED, the demo firmware was built with ${COMPILER}, here is ${version}`);
  return false;
}

describe.skipIf(!sameCompiler())('demo firmware: built again', () => {
  test('the same bytes as committed', () => {
    inFolder((folder) => {
      run(join(FOLDER, 'build.sh'), [folder]);
      for (const name of NAMES) {
        expect(Buffer.from(fileBytes(join(folder, name))).equals(fileBytes(join(FOLDER, name))), name).toBe(
          true,
        );
      }
    });
  });

  test('32-bit ELF, HEX, S-record and raw of one program give the image that objcopy and srec_cat give', () => {
    inFolder((folder) => {
      run(join(FOLDER, 'build.sh'), [folder], { KEEP_ELF: '1' });
      for (const name of Object.keys(BUILT)) {
        const at = (ending: string) => join(folder, `${name}.${ending}`);
        for (const [format, ending] of Object.entries({ ihex: 'hex', srec: 'srec', binary: 'bin' })) {
          run('arm-none-eabi-objcopy', ['-O', format, at('elf'), at(ending)]);
        }
        const offset = ['-offset', '-0x08000000'];
        run('srec_cat', [at('hex'), '-intel', ...offset, '-o', at('cat.bin'), '-binary']);
        expect(Buffer.from(fileBytes(at('bin'))).equals(fileBytes(at('cat.bin')))).toBe(true);
        for (const ending of ['elf', 'hex', 'srec', 'bin']) {
          const image = imageForSlot(fileSource(at(ending)), map, { name: at(ending) });
          expect(Buffer.from(allOf(image.source)).equals(fileBytes(at('bin'))), at(ending)).toBe(true);
        }
      }
    });
  });
});

describe.skipIf(!present('cc'))(
  'demo firmware: its control laws, under the undefined-behaviour sanitiser',
  () => {
    for (const minor of [4, 5]) {
      test(`vent 1.${minor} and dosing: never more than the limit in any hour, faults stop at once`, () => {
        inFolder((folder) => {
          const program = join(folder, 'control-test');
          const sources = ['control_test.c', 'vent_control.c', 'dosing_control.c'].map((name) =>
            join(FOLDER, name),
          );
          const strict = [
            '-std=c99',
            '-O1',
            '-Wall',
            '-Wextra',
            '-Werror',
            '-pedantic',
            '-fsanitize=undefined',
          ];
          run('cc', [
            ...strict,
            '-fno-sanitize-recover',
            `-DFIRMWARE_MINOR=${minor}`,
            ...sources,
            '-o',
            program,
          ]);
          run(program, []);
        });
      });
    }
  },
);
