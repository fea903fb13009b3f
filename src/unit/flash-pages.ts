import type { FlashGeometry } from '../image/index.ts';

/** Random access to the bytes behind emulated flash: memory, or a file written in place. */
export interface Store {
  readonly size: number;
  /** A copy of `length` bytes from `offset`; bytes never written are zero. */
  read(offset: number, length: number): Uint8Array;
  /** Overwrites in place. When it returns, another process would read the new bytes. */
  write(offset: number, bytes: Uint8Array): void;
  /** Makes what was written survive a failure of the host. */
  flush(): void;
}

/** A store in memory. */
export function memoryStore(size: number, content?: Uint8Array): Store & { readonly bytes: Uint8Array } {
  const bytes = new Uint8Array(size);
  if (content) bytes.set(content);
  return {
    size,
    bytes,
    read: (offset, length) => bytes.slice(offset, offset + length),
    write: (offset, part) => bytes.set(part, offset),
    flush: () => {},
  };
}

/** How a page stands: `fresh` was never programmed and is stored as zeros, whatever its erased value. */
const FRESH = 0;
const USED = 1;

const CONDITION_AT = 4;
const HEAD_SIZE = 8;

/**
 * What the emulator keeps about each page, one fixed-size note per page, all zero for a page as it came from the
 * factory: wear (erase count, 4 bytes, big-endian), condition (1 byte: 0 fresh, 1 used), 3 zero bytes, then one
 * bit per write unit, least significant first, that says "programmed", then as many that say "unstable".
 */
export class PageNotes {
  /** Bytes of one note. */
  readonly size: number;
  readonly #store: Store;
  readonly #offset: number;
  readonly #bitmapSize: number;

  constructor(store: Store, offset: number, geometry: FlashGeometry) {
    this.#store = store;
    this.#offset = offset;
    this.#bitmapSize = bitmapSize(geometry);
    this.size = noteSize(geometry);
  }

  /** Notes of `count` pages from page `first`. */
  read(first: number, count: number): PageNote[] {
    const bytes = this.#store.read(this.#offset + first * this.size, count * this.size);
    return Array.from(
      { length: count },
      (_, i) => new PageNote(bytes.subarray(i * this.size, (i + 1) * this.size), this.#bitmapSize),
    );
  }

  /** Writes notes back to page `first` and those behind it. */
  write(first: number, notes: readonly PageNote[]): void {
    const bytes = new Uint8Array(notes.length * this.size);
    for (const [i, note] of notes.entries()) bytes.set(note.bytes, i * this.size);
    this.#store.write(this.#offset + first * this.size, bytes);
  }
}

/** Bytes of one page's note. */
export function noteSize(geometry: FlashGeometry): number {
  return HEAD_SIZE + 2 * bitmapSize(geometry);
}

function bitmapSize({ erase_page, write_unit }: FlashGeometry): number {
  return Math.ceil(erase_page / write_unit / 8);
}

/** One page's note; changes stay in memory until `PageNotes.write`. */
export class PageNote {
  readonly bytes: Uint8Array;
  readonly #unstableAt: number;

  constructor(bytes: Uint8Array, bitmapBytes: number) {
    this.bytes = bytes;
    this.#unstableAt = HEAD_SIZE + bitmapBytes;
  }

  get wear(): number {
    const [a, b, c, d] = this.bytes;
    return ((a! << 24) | (b! << 16) | (c! << 8) | d!) >>> 0;
  }

  set wear(erases: number) {
    for (let i = 0; i < 4; i++) this.bytes[i] = erases >>> (24 - 8 * i);
  }

  get fresh(): boolean {
    return this.bytes[CONDITION_AT] === FRESH;
  }

  set fresh(fresh: boolean) {
    this.bytes[CONDITION_AT] = fresh ? FRESH : USED;
  }

  get anyProgrammed(): boolean {
    return !isZero(this.bytes, HEAD_SIZE, this.#unstableAt);
  }

  get anyUnstable(): boolean {
    return !isZero(this.bytes, this.#unstableAt, this.bytes.length);
  }

  isProgrammed(unit: number): boolean {
    return bit(this.bytes, HEAD_SIZE, unit);
  }

  isUnstable(unit: number): boolean {
    return bit(this.bytes, this.#unstableAt, unit);
  }

  /** Notes `count` write units from `first` as programmed. */
  setProgrammed(first: number, count: number): void {
    setBits(this.bytes, HEAD_SIZE, first, count);
  }

  setUnstable(first: number, count: number): void {
    setBits(this.bytes, this.#unstableAt, first, count);
  }

  /** Every unit can be programmed again and reads reliably. */
  clear(): void {
    this.bytes.fill(0, HEAD_SIZE);
  }
}

function isZero(bytes: Uint8Array, start: number, end: number): boolean {
  for (let i = start; i < end; i++) if (bytes[i] !== 0) return false;
  return true;
}

function bit(bytes: Uint8Array, start: number, index: number): boolean {
  return (bytes[start + (index >> 3)]! & (1 << (index & 7))) !== 0;
}

function setBits(bytes: Uint8Array, start: number, first: number, count: number): void {
  for (let i = first; i < first + count; i++) bytes[start + (i >> 3)]! |= 1 << (i & 7);
}
