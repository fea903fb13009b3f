import { view } from './view.ts';

/** Random access to bytes that may be too many for memory: a file, a part of one, or an array. */
export interface ByteSource {
  /** Length in bytes. */
  readonly size: number;
  /** Exactly `length` bytes from `offset`. Throws `RangeError` where the source ends sooner. */
  read(offset: number, length: number): Uint8Array;
}

/** A source over bytes in memory; reads are views, not copies. */
export function sourceOf(bytes: Uint8Array): ByteSource {
  return {
    size: bytes.length,
    read(offset, length) {
      requireRange(bytes.length, offset, length);
      return view(bytes, offset, offset + length);
    },
  };
}

/** The part of a source from `offset`, `length` bytes long. */
export function slice(source: ByteSource, offset: number, length: number): ByteSource {
  requireRange(source.size, offset, length);
  return {
    size: length,
    read(inner, count) {
      requireRange(length, inner, count);
      return source.read(offset + inner, count);
    },
  };
}

/** Hands the whole source to `take`, in order, in pieces of at most `pieceSize` bytes. */
export function eachPiece(
  source: ByteSource,
  take: (piece: Uint8Array, offset: number) => void,
  pieceSize = 1 << 20,
): void {
  for (let offset = 0; offset < source.size; offset += pieceSize) {
    take(source.read(offset, Math.min(pieceSize, source.size - offset)), offset);
  }
}

function requireRange(size: number, offset: number, length: number): void {
  if (offset < 0 || length < 0 || offset + length > size) {
    throw new RangeError(`bytes ${offset} to ${offset + length} are outside a source of ${size} bytes`);
  }
}
