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
export const FRESH = 0;
export const USED = 1;

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
  readonly #view: DataView;
  readonly #programmed: Uint8Array;
  readonly #unstable: Uint8Array;

  constructor(bytes: Uint8Array, bitmapBytes: number) {
    this.bytes = bytes;
    this.#view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
    this.#programmed = bytes.subarray(HEAD_SIZE, HEAD_SIZE + bitmapBytes);
    this.#unstable = bytes.subarray(HEAD_SIZE + bitmapBytes);
  }

  get wear(): number {
    return this.#view.getUint32(0);
  }

  set wear(erases: number) {
    this.#view.setUint32(0, erases);
  }

  get fresh(): boolean {
    return this.bytes[4] === FRESH;
  }

  set fresh(fresh: boolean) {
    this.bytes[4] = fresh ? FRESH : USED;
  }

  get anyProgrammed(): boolean {
    return !allAreZero(this.#programmed);
  }

  get anyUnstable(): boolean {
    return !allAreZero(this.#unstable);
  }

  isProgrammed(unit: number): boolean {
    return bit(this.#programmed, unit);
  }

  isUnstable(unit: number): boolean {
    return bit(this.#unstable, unit);
  }

  /** Notes `count` write units from `first` as programmed. */
  setProgrammed(first: number, count: number): void {
    setBits(this.#programmed, first, count);
  }

  setUnstable(first: number, count: number): void {
    setBits(this.#unstable, first, count);
  }

  /** Every unit can be programmed again and reads reliably. */
  clear(): void {
    this.#programmed.fill(0);
    this.#unstable.fill(0);
  }
}

function allAreZero(bytes: Uint8Array): boolean {
  return bytes.every((byte) => byte === 0);
}

function bit(bitmap: Uint8Array, index: number): boolean {
  return (bitmap[index >> 3]! & (1 << (index & 7))) !== 0;
}

function setBits(bitmap: Uint8Array, first: number, count: number): void {
  for (let i = first; i < first + count; i++) bitmap[i >> 3]! |= 1 << (i & 7);
}
