import type { ByteSource } from '../bytes/index.ts';
import { concat } from '../bytes/index.ts';
import { ImageError } from './errors.ts';

const LINE_FEED = 0x0a;
const CARRIAGE_RETURN = 0x0d;
const PIECE = 1 << 18;

/** One line without its line end; `complete` is false where the file ends without one. */
export type TakeLine = (line: Uint8Array, number: number, complete: boolean) => void;

/**
 * Hands each line to `take`, counted from 1, holding one piece of the source at a time. Lines end with LF or
 * CR LF. Throws `ImageError` 'line-too-long' beyond `longest` characters.
 */
export function eachLine(source: ByteSource, longest: number, take: TakeLine): void {
  let number = 0;
  let rest: Uint8Array = new Uint8Array(0);
  const emit = (bytes: Uint8Array, complete: boolean) => {
    const line = bytes.at(-1) === CARRIAGE_RETURN ? bytes.subarray(0, -1) : bytes;
    number++;
    requireLength(line.length, longest, number);
    take(line, number, complete);
  };
  for (let offset = 0; offset < source.size; offset += PIECE) {
    const read = source.read(offset, Math.min(PIECE, source.size - offset));
    const piece = rest.length > 0 ? concat(rest, read) : read;
    let start = 0;
    for (let end = piece.indexOf(LINE_FEED); end >= 0; end = piece.indexOf(LINE_FEED, start)) {
      emit(piece.subarray(start, end), true);
      start = end + 1;
    }
    rest = piece.slice(start);
    requireLength(rest.length - 1, longest, number + 1);
  }
  if (rest.length > 0) emit(rest, false);
}

function requireLength(length: number, longest: number, line: number): void {
  if (length <= longest) return;
  throw new ImageError('line-too-long', `the line has more than ${longest} characters`, { line });
}
