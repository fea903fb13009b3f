import type { ByteSource } from '../bytes/index.ts';
import { DeltaError } from './errors.ts';
import { DELTA_LIMITS } from './limits.ts';

const PIECE = 512;
const MOST_DIGITS = 5;

/** Reads a part of a delta front to back, holding at most one small piece of it. */
export class Cursor {
  #piece: Uint8Array = new Uint8Array(0);
  #pieceStart = 0;

  constructor(
    readonly source: ByteSource,
    public offset: number,
    readonly end: number,
    /** The part's name, for messages. */
    readonly part: string,
  ) {}

  get left(): number {
    return this.end - this.offset;
  }

  /** One byte. Throws `DeltaError` 'truncated' at the end of the part. */
  byte(): number {
    const inPiece = this.offset - this.#pieceStart;
    if (inPiece >= 0 && inPiece < this.#piece.length) {
      this.offset++;
      return this.#piece[inPiece]!;
    }
    this.#require(1);
    this.#pieceStart = this.offset;
    this.#piece = this.source.read(this.offset, Math.min(PIECE, this.left));
    this.offset++;
    return this.#piece[0]!;
  }

  /** An unsigned base-128 integer (RFC 3284 section 2) of at most 2^32 - 1. */
  integer(): number {
    const start = this.offset;
    let value = 0;
    for (let digits = 1; digits <= MOST_DIGITS; digits++) {
      const digit = this.byte();
      value = value * 128 + (digit & 0x7f);
      if (digit < 0x80 && value <= DELTA_LIMITS.integer.value) return value;
      if (digit < 0x80) break;
    }
    throw new DeltaError('integer-too-large', `an integer in ${this.part} exceeds 32 bits`, start);
  }

  /** The next bytes, `length` of them. */
  bytes(length: number): Uint8Array {
    this.#require(length);
    const bytes = this.source.read(this.offset, length);
    this.offset += length;
    return bytes;
  }

  /** A cursor over the next `length` bytes, which this one then stands behind. */
  section(length: number, part: string): Cursor {
    this.#require(length);
    const section = new Cursor(this.source, this.offset, this.offset + length, part);
    this.offset += length;
    return section;
  }

  #require(length: number): void {
    if (length > this.left) {
      throw new DeltaError('truncated', `${this.part} ends ${length - this.left} bytes early`, this.offset);
    }
  }
}
