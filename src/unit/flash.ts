import type { FlashGeometry } from '../image/index.ts';

/**
 * NOR flash as the life of a unit needs it. Offsets count from the start of the flash, in bytes. A page is erased
 * as a whole; a write unit is programmed as a whole, once after each erase. Every call may throw `FlashError` or,
 * on emulated flash, `PowerCut`.
 */
export interface Flash {
  readonly size: number;
  readonly geometry: FlashGeometry;
  /** A copy of `length` bytes from `offset`. */
  read(offset: number, length: number): Uint8Array;
  /** Erases whole pages, in ascending order; each is one operation. */
  erase(offset: number, length: number): void;
  /** Programs whole write units, in ascending order; each is one operation. */
  program(offset: number, bytes: Uint8Array): void;
}

/** Ways in which flash does not take an order. */
export type FlashErrorCode = 'out-of-range' | 'misaligned' | 'not-erased' | 'worn-out';

/** An order that the flash cannot carry out. Nothing of the operation at `offset` has happened. */
export class FlashError extends Error {
  override readonly name = 'FlashError';
  readonly code: FlashErrorCode;
  /** Bytes from the start of the flash. */
  readonly offset: number;

  constructor(code: FlashErrorCode, offset: number, message: string) {
    super(message);
    this.code = code;
    this.offset = offset;
  }
}

/** The power went away. Whatever the unit was doing has stopped; only what is in flash counts from here on. */
export class PowerCut extends Error {
  override readonly name = 'PowerCut';
  /** Flash operations that had begun, counted from 1; 0 where the cut came before the first. */
  readonly operation: number;

  constructor(operation: number) {
    super(`the power was cut at flash operation ${operation}`);
    this.operation = operation;
  }
}

/** Refuses what does not lie in the flash or does not fall on a boundary of `grain` bytes. */
export function requireSpan(flashSize: number, offset: number, length: number, grain: number): void {
  if (!Number.isSafeInteger(offset) || offset < 0 || length < 0 || offset + length > flashSize) {
    const message = `bytes ${offset} to ${offset + length} are outside a flash of ${flashSize} bytes`;
    throw new FlashError('out-of-range', offset, message);
  }
  if (offset % grain === 0 && length % grain === 0) return;
  throw new FlashError('misaligned', offset, `${length} bytes at ${offset} are no whole units of ${grain}`);
}

/** `value` rounded up to a multiple of `grain`. */
export function roundUp(value: number, grain: number): number {
  return Math.ceil(value / grain) * grain;
}

/** Whether every byte is `value`. */
export function allAre(bytes: Uint8Array, value: number): boolean {
  for (let i = 0; i < bytes.length; i++) if (bytes[i] !== value) return false;
  return true;
}
