import { expect } from 'vitest';
import { concat, fromHex, sourceOf } from '../../src/bytes/index.ts';
import {
  applyDelta,
  DeltaError,
  type DeltaErrorCode,
  type DeltaLimits,
  type DeltaTarget,
  makeDelta,
} from '../../src/delta/index.ts';

/** The delta as one array. */
export function make(precursor: Uint8Array, target: Uint8Array, windowSize?: number): Uint8Array {
  const request = { precursor: sourceOf(precursor), target: sourceOf(target) };
  return concat(...makeDelta(windowSize === undefined ? request : { ...request, windowSize }));
}

/** The image that a delta makes in memory that can be read back, as flash can. */
export function apply(
  delta: Uint8Array,
  precursor: Uint8Array,
  targetSize: number,
  limits: Partial<DeltaLimits> = {},
): Uint8Array {
  const image = new Uint8Array(targetSize);
  const target: DeltaTarget = {
    write: (bytes, offset) => image.set(bytes, offset),
    read: (offset, length) => image.slice(offset, offset + length),
  };
  applyDelta({ delta: sourceOf(delta), precursor: sourceOf(precursor), targetSize, target, limits });
  return image;
}

/** Expects a `DeltaError` with this code (and offset in the delta) and returns it. */
export function refused(code: DeltaErrorCode, run: () => unknown, offset?: number): DeltaError {
  try {
    run();
  } catch (error) {
    expect(error).toBeInstanceOf(DeltaError);
    expect(error).toMatchObject(offset === undefined ? { code } : { code, offset });
    return error as DeltaError;
  }
  throw new Error(`expected the refusal ${code}, but it was accepted`);
}

/** Header of a plain delta (RFC 3284 section 4.1). */
export const HEADER = 'd6c3c400 00';

/** A delta from hexadecimal, spaces ignored. */
export function hex(...parts: string[]): Uint8Array {
  return fromHex(parts.join('').replaceAll(' ', ''));
}

export interface WindowParts {
  /** Indicator and segment (size, position), in hexadecimal. */
  segment?: string;
  size: number;
  data?: string;
  codes: string;
  addresses?: string;
}

/** One window by hand, its lengths all below 128 (RFC 3284 section 4.3). */
export function windowOf({ segment = '00', size, data = '', codes, addresses = '' }: WindowParts): string {
  const sections = [data, codes, addresses].map((section) => section.replaceAll(' ', ''));
  const lengths = [size, 0, ...sections.map((section) => section.length / 2)].map(hexByte).join('');
  const body = lengths + sections.join('');
  return segment + hexByte(body.length / 2) + body;
}

function hexByte(value: number): string {
  expect(value).toBeLessThan(128);
  return value.toString(16).padStart(2, '0');
}

/** Numbers from 0 up to `below`, the same for the same seed (mulberry32, public domain). */
export function randomNumbers(seed: number): (below: number) => number {
  let state = seed;
  return (below) => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) % below;
  };
}

/** Bytes that do not compress. */
export function randomBytes(seed: number, size: number): Uint8Array {
  const random = randomNumbers(seed);
  return new Uint8Array(size).map(() => random(256));
}

/** An image after `count` small edits: bytes replaced, put in and taken out. */
export function edited(image: Uint8Array, seed: number, count: number): Uint8Array {
  const random = randomNumbers(seed);
  const bytes = Array.from(image);
  for (let edit = 0; edit < count; edit++) {
    const fresh = Array.from({ length: random(12) }, () => random(256));
    bytes.splice(random(bytes.length), random(12), ...fresh);
  }
  return Uint8Array.from(bytes);
}
