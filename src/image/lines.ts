import type { ByteSource } from '../bytes/index.ts';
import { concat } from '../bytes/index.ts';
import { ImageError } from './errors.ts';

const LINE_FEED = 0x0a;
const CARRIAGE_RETURN = 0x0d;
const PIECE = 1 << 18;

/** One line: `bytes` from `start` up to `end`, without its line end; `complete` is false where none follows. */
export interface Line {
  bytes: Uint8Array;
  start: number;
  end: number;
  number: number;
  complete: boolean;
}

/**
 * Hands each line to `take`, counted from 1, holding one piece of the source at a time; the object is used again
 * for the next line. Lines end with LF or CR LF. Throws `ImageError` 'line-too-long' beyond `longest` characters.
 */
export function eachLine(source: ByteSource, longest: number, take: (line: Line) => void): void {
  const line: Line = { bytes: new Uint8Array(0), start: 0, end: 0, number: 0, complete: true };
  for (let offset = 0; offset < source.size; offset += PIECE) {
    const read = source.read(offset, Math.min(PIECE, source.size - offset));
    const rest = line.bytes.subarray(line.start);
    line.bytes = rest.length > 0 ? concat(rest, read) : read;
    line.start = 0;
    takeLines(line, longest, take);
    requireLength(line.bytes.length - line.start - 1, longest, line.number + 1);
  }
  line.complete = false;
  if (line.start < line.bytes.length) takeLine(line, line.bytes.length, longest, take);
}

/** The lines that end within the bytes at hand; what follows them stays from `start` on. */
function takeLines(line: Line, longest: number, take: (line: Line) => void): void {
  for (;;) {
    const end = line.bytes.indexOf(LINE_FEED, line.start);
    if (end < 0) return;
    takeLine(line, end, longest, take);
    line.start = end + 1;
  }
}

function takeLine(line: Line, end: number, longest: number, take: (line: Line) => void): void {
  line.number++;
  line.end = end > line.start && line.bytes[end - 1] === CARRIAGE_RETURN ? end - 1 : end;
  requireLength(line.end - line.start, longest, line.number);
  take(line);
}

function requireLength(length: number, longest: number, line: number): void {
  if (length <= longest) return;
  throw new ImageError('line-too-long', `the line has more than ${longest} characters`, { line });
}
