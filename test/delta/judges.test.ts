/**
 * Deltas against independent programs, both ways: Debian's xdelta3 makes and applies them, the npm package
 * @ably/vcdiff-decoder applies them. Real firmware: the Debian package firmware-microbit-micropython.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { decode } from '@ably/vcdiff-decoder';
import { describe, expect, test } from 'vitest';
import { equal } from '../../src/bytes/index.ts';
import { DEFAULT_WINDOW_SIZE } from '../../src/delta/index.ts';
import { defaultMemoryMap, imageForSlot } from '../../src/image/index.ts';
import { fileBytes, fileSource, inFolder, packageFiles, present, run } from '../image/tools.ts';
import { apply, edited, make, randomBytes, refused } from './helpers.ts';

const DEMO = fileURLToPath(new URL('../../demo/firmware', import.meta.url));
const MICROBIT =
  packageFiles('firmware-microbit-micropython', /\/firmware\.hex$/)[0] ?? '/absent/firmware.hex';
const judged = present('xdelta3');

/** Two images and a name for the case. */
type Pair = [name: string, precursor: Uint8Array, target: Uint8Array];

function demoImage(name: string): Uint8Array {
  const { source } = imageForSlot(fileSource(join(DEMO, name)), defaultMemoryMap({ core: 'cortex-m' }));
  return source.read(0, source.size);
}

function microbitImage(): Uint8Array {
  const { source } = imageForSlot(fileSource(MICROBIT), {
    ...defaultMemoryMap({ core: 'cortex-m' }),
    link_address: 0,
    ram: { address: 0x20000000, size: 16 * 1024 },
    leave_out: [{ name: 'option bytes', address: 0x100010c0, size: 0x40 }],
  });
  return source.read(0, source.size);
}

/** As a linker moves code: bytes put in at `at`, and every aligned word that points behind it follows. */
function relinked(image: Uint8Array, at: number, added: Uint8Array): Uint8Array {
  const moved = Uint8Array.from([...image.subarray(0, at), ...added, ...image.subarray(at)]);
  const words = new DataView(moved.buffer);
  for (let offset = 0; offset + 4 <= moved.length; offset += 4) {
    const value = words.getUint32(offset, true);
    if (value >= at && value < image.length) words.setUint32(offset, value + added.length, true);
  }
  return moved;
}

/** A plain delta by xdelta3 at its best level. */
function xdelta3(precursor: Uint8Array, target: Uint8Array, ...options: string[]): Uint8Array {
  return encode(precursor, target, ['-S', 'none', '-A', '-n', '-9', ...options]);
}

function encode(precursor: Uint8Array, target: Uint8Array, options: string[]): Uint8Array {
  return inFolder((folder) => {
    const [from, to, delta] = ['from', 'to', 'delta'].map((name) => join(folder, name)) as [
      string,
      string,
      string,
    ];
    writeFileSync(from, precursor);
    writeFileSync(to, target);
    run('xdelta3', ['-e', ...options, '-s', from, to, delta]);
    return fileBytes(delta);
  });
}

function appliedByXdelta3(delta: Uint8Array, precursor: Uint8Array): Uint8Array {
  return inFolder((folder) => {
    const [from, to, file] = ['from', 'to', 'delta'].map((name) => join(folder, name)) as [
      string,
      string,
      string,
    ];
    writeFileSync(from, precursor);
    writeFileSync(file, delta);
    run('xdelta3', ['-d', '-s', from, file, to]);
    return fileBytes(to);
  });
}

const random = randomBytes(1, 256 * 1024);
const PAIRS: Pair[] = [
  ['demo firmware, vent 1.4.0 to 1.5.0', demoImage('vent-1.4.0.hex'), demoImage('vent-1.5.0.hex')],
  ['256 KiB of random bytes, 20 edits', random, edited(random, 2, 20)],
  ['256 KiB of random bytes, 200 edits', random, edited(random, 3, 200)],
  ['the same image', random, random],
  ['an image that shares nothing', random.subarray(0, 20_000), randomBytes(4, 20_000)],
  ['erased flash', new Uint8Array(200_000).fill(0xff), new Uint8Array(150_000).fill(0xff)],
];
if (present(MICROBIT)) {
  const image = microbitImage();
  PAIRS.push(
    ['MicroPython, 20 edits', image, edited(image, 5, 20)],
    ['MicroPython, relinked around 64 bytes more', image, relinked(image, 0x8000, randomBytes(6, 64))],
  );
}

describe.each(PAIRS)('%s', (_, precursor, target) => {
  const ours = make(precursor, target, DEFAULT_WINDOW_SIZE);

  test('@ably/vcdiff-decoder applies our delta', () => {
    expect(equal(decode(ours, precursor), target)).toBe(true);
  });

  test.skipIf(!judged)('xdelta3 applies our delta', () => {
    expect(equal(appliedByXdelta3(ours, precursor), target)).toBe(true);
  });

  test.skipIf(!judged)(
    'we apply the deltas of xdelta3; with windows of one size ours is no larger by 2 %',
    () => {
      const windowed = xdelta3(precursor, target, '-W', String(DEFAULT_WINDOW_SIZE));
      for (const theirs of [xdelta3(precursor, target), windowed]) {
        expect(equal(apply(theirs, precursor, target.length), target)).toBe(true);
      }
      expect(ours.length).toBeLessThanOrEqual(windowed.length * 1.02);
    },
  );
});

describe.skipIf(!judged)('what xdelta3 adds to the RFC', () => {
  const [, precursor, target] = PAIRS[0]!;
  const apply3 = (...options: string[]) => {
    const delta = encode(precursor, target, options);
    return () => apply(delta, precursor, target.length);
  };

  test('is refused by name', () => {
    refused('application-header', apply3('-S', 'none', '-n'), 4);
    refused('window-checksum', apply3('-S', 'none', '-A'), 5);
    refused('secondary-compression', apply3('-S', 'lzma', '-A', '-n'), 4);
  });
});
