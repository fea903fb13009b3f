/** The image that a delta makes, read as if it were there (RFC 3284 section 6). */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { concat, sourceOf } from '../../src/bytes/index.ts';
import { deltaSource } from '../../src/delta/index.ts';
import { edited, HEADER, hex, make, randomBytes, refused, windowOf } from './helpers.ts';

const OLD = randomBytes(1, 5000);
const NEW = edited(OLD, 2, 10);
const open = (delta: Uint8Array, precursor = OLD, targetSize = NEW.length) =>
  deltaSource({ delta: sourceOf(delta), precursor: sourceOf(precursor), targetSize });

describe('read in any pieces, from anywhere', () => {
  test('gives the bytes of the image, whatever the windows', () => {
    const pieces = fc.array(fc.tuple(fc.nat(NEW.length), fc.nat(1500)), { minLength: 1, maxLength: 12 });
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 6000 }), pieces, (windowSize, wanted) => {
        const made = open(make(OLD, NEW, windowSize));
        for (const [offset, length] of wanted) {
          const end = Math.min(NEW.length, offset + length);
          expect(made.read(offset, end - offset)).toEqual(NEW.slice(offset, end));
        }
      }),
      { numRuns: 100 },
    );
  });

  test('what was read stays as it was when the buffer is used again', () => {
    const made = open(make(OLD, NEW, 700));
    const first = made.read(0, 700);
    made.read(700, 700);
    expect(first).toEqual(NEW.slice(0, 700));
  });

  test('outside the image: a RangeError', () => {
    const made = open(make(OLD, NEW));
    for (const [offset, length] of [
      [-1, 1],
      [0, -1],
      [NEW.length, 1],
    ] as const) {
      expect(() => made.read(offset, length)).toThrow(RangeError);
    }
  });
});

describe('what is wrong with it', () => {
  test('window headers are judged before anything is read', () => {
    refused('wrong-size', () => open(make(OLD, NEW), OLD, NEW.length + 1));
    refused('outside-precursor', () => open(make(concat(OLD, NEW), NEW), OLD));
    refused('no-read-back', () => open(hex(HEADER, '02 00 00 05 00 00 00 00 00'), OLD, 0));
    const limits = { targetWindow: 100 };
    const delta = sourceOf(make(OLD, NEW, 200));
    refused('too-large', () =>
      deltaSource({ delta, precursor: sourceOf(OLD), targetSize: NEW.length, limits }),
    );
  });

  test('an instruction is judged when its window is reached, not before', () => {
    const sound = windowOf({ size: 2, data: 'aabb', codes: '03' });
    const short = windowOf({ size: 3, data: 'cc', codes: '02' });
    const made = open(hex(HEADER, sound, short), OLD, 5);
    expect(made.read(0, 2)).toEqual(hex('aabb'));
    refused('window-short', () => made.read(2, 1));
  });

  test('a delta that got shorter since its headers were read', () => {
    const delta = make(OLD, NEW, 700);
    let size = delta.length;
    const shrinking = {
      get size() {
        return size;
      },
      read: (at: number, n: number) => delta.slice(at, at + n),
    };
    const made = deltaSource({ delta: shrinking, precursor: sourceOf(OLD), targetSize: NEW.length });
    made.read(700, 1);
    size = 5;
    refused('truncated', () => made.read(0, 1));
  });
});
