/** Properties of making and applying deltas, and of applying what a stranger sends (RFC 3284). */
import { decode } from '@ably/vcdiff-decoder';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { applyDelta, DeltaError, makeDelta, surveyDelta } from '../../src/delta/index.ts';
import { apply, edited, HEADER, hex, make, randomBytes, randomNumbers, windowOf } from './helpers.ts';

const LIMITS = { targetWindow: 4096, target: 16_384, windows: 64 };

/** Few symbols, so that matches of every kind turn up. */
const symbols = (maxLength: number) =>
  fc.uint8Array({ maxLength, max: 3 }).map((bytes) => Uint8Array.from(bytes));
const anyBytes = fc.uint8Array({ maxLength: 600 }).map((bytes) => Uint8Array.from(bytes));

/** An image with some structure, and the image after some edits. */
const pair = fc
  .tuple(fc.oneof(anyBytes, symbols(600)), fc.integer(), fc.integer({ min: 0, max: 8 }))
  .map(([image, seed, edits]): [Uint8Array, Uint8Array] => [image, edited(image, seed, edits)]);

describe('made and applied', () => {
  test('any edit, any window size: the target, in windows no larger, the same bytes each time', () => {
    fc.assert(
      fc.property(pair, fc.integer({ min: 1, max: 700 }), ([precursor, target], windowSize) => {
        const delta = make(precursor, target, windowSize);
        expect(apply(delta, precursor, target.length)).toEqual(target);
        expect(surveyDelta(sourceOf(delta)).largestWindow).toBeLessThanOrEqual(windowSize);
        expect(make(precursor, target, windowSize)).toEqual(delta);
      }),
      { numRuns: 300 },
    );
  });

  test('images that have nothing to do with each other', () => {
    fc.assert(
      fc.property(fc.oneof(anyBytes, symbols(300)), fc.oneof(anyBytes, symbols(300)), (precursor, target) => {
        const delta = make(precursor, target);
        expect(apply(delta, precursor, target.length)).toEqual(target);
        if (target.length > 0) expect(decode(delta, precursor)).toEqual(target);
      }),
      { numRuns: 300 },
    );
  });

  test('no delta grows beyond the target by more than its headers', () => {
    fc.assert(
      fc.property(anyBytes, anyBytes, (precursor, target) => {
        expect(make(precursor, target).length).toBeLessThanOrEqual(target.length + 32);
      }),
    );
  });

  test('only a part of the target is held at a time', () => {
    const image = randomBytes(7, 5000);
    const target = sourceOf(edited(image, 8, 5));
    const reads: number[] = [];
    const read = (offset: number, length: number) => {
      reads.push(length);
      return target.read(offset, length);
    };
    const watched = { size: target.size, read };
    const pieces = [...makeDelta({ precursor: sourceOf(image), target: watched, windowSize: 1000 })];
    expect(pieces).toHaveLength(1 + Math.ceil(target.size / 1000));
    expect(Math.max(...reads)).toBe(1000);
  });
});

/** Applies what may be anything. Whether it was accepted; fails on any error but a coded refusal. */
function attempt(delta: Uint8Array, precursor: Uint8Array): string {
  let written = 0;
  const read = (_: number, length: number) => new Uint8Array(length);
  const write = (bytes: Uint8Array, offset: number) => {
    expect(offset).toBe(written);
    written += bytes.length;
    expect(bytes.length).toBeLessThanOrEqual(LIMITS.targetWindow);
    expect(written).toBeLessThanOrEqual(LIMITS.target);
  };
  try {
    const { targetSize } = surveyDelta(sourceOf(delta), LIMITS);
    const ports = { delta: sourceOf(delta), precursor: sourceOf(precursor), target: { write, read } };
    applyDelta({ ...ports, targetSize, limits: LIMITS });
    expect(written).toBe(targetSize);
    return 'accepted';
  } catch (error) {
    if (!(error instanceof DeltaError)) throw error;
    if (error.offset !== undefined) expect(error.offset).toBeLessThanOrEqual(delta.length);
    return error.code;
  }
}

describe('hostile deltas: a coded refusal or a target within the limits, nothing else', () => {
  test('any bytes, with and without a header', () => {
    const precursor = randomBytes(9, 300);
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), fc.boolean(), (bytes, header) => {
        attempt(header ? Uint8Array.from([...hex(HEADER), ...bytes]) : Uint8Array.from(bytes), precursor);
      }),
      { numRuns: 2000 },
    );
  });

  test('good deltas with bytes changed, put in, taken out and repeated', () => {
    const precursor = randomBytes(10, 2000);
    const delta = make(precursor, edited(precursor, 11, 12), 700);
    const fallen = new Set<string>();
    for (let seed = 0; seed < 4000; seed++) fallen.add(attempt(mutated(delta, seed), precursor));
    expect(fallen.size).toBeGreaterThan(12);
  });

  test('windows whose lengths agree and whose instructions are anything', () => {
    const precursor = randomBytes(12, 100);
    const fallen = new Set<string>();
    for (let seed = 0; seed < 4000; seed++) {
      const random = randomNumbers(seed);
      const some = (most: number) => Buffer.from(randomBytes(seed + most, random(most))).toString('hex');
      const low = Array.from({ length: random(6) }, () => `0${random(8)}`).join('');
      const segment = random(2) ? '01 40 10' : '00';
      const parts = { segment, size: random(60), data: some(40), codes: some(8), addresses: low };
      fallen.add(attempt(hex(HEADER, windowOf(parts)), precursor));
    }
    for (const code of ['window-overrun', 'window-short', 'truncated', 'bad-address', 'left-over']) {
      expect(fallen).toContain(code);
    }
  });
});

function mutated(delta: Uint8Array, seed: number): Uint8Array {
  const random = randomNumbers(seed);
  const bytes = Array.from(delta);
  for (let times = 1 + random(3); times > 0; times--) {
    const at = random(2) ? random(bytes.length) : random(Math.min(30, bytes.length));
    const kind = random(5);
    if (kind === 0) bytes[at] = random(256);
    if (kind === 1) bytes[at] = (bytes[at] ?? 0) ^ (1 << random(8));
    if (kind === 2) bytes.splice(at, random(4));
    if (kind === 3) bytes.splice(at, 0, ...bytes.slice(at, at + random(20)));
    if (kind === 4) bytes[at] = ((bytes[at] ?? 0) + (random(2) ? 1 : 255)) & 0xff;
  }
  return Uint8Array.from(bytes);
}
