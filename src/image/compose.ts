import type { ByteSource } from '../bytes/index.ts';
import type { Segment } from './segment.ts';

/** A stretch of the composed source: bytes of another source, or one value repeated. */
type Part = { start: number; length: number } & ({ source: ByteSource } | { fill: number });

/**
 * One source over segments that are sorted and disjoint: from `address` to the end of the last segment, with
 * `fill` in the gaps. Nothing is copied until it is read.
 */
export function composeSource(address: number, segments: readonly Segment[], fill: number): ByteSource {
  const parts: Part[] = [];
  let end = 0;
  for (const segment of segments) {
    const start = segment.address - address;
    if (start > end) parts.push({ start: end, length: start - end, fill });
    parts.push({ start, length: segment.length, source: segment.source });
    end = start + segment.length;
  }
  return { size: end, read: (offset, length) => readParts(parts, end, offset, length) };
}

function readParts(parts: Part[], size: number, offset: number, length: number): Uint8Array {
  if (offset < 0 || length < 0 || offset + length > size) {
    throw new RangeError(`bytes ${offset} to ${offset + length} are outside an image of ${size} bytes`);
  }
  if (length === 0) return new Uint8Array(0);
  let index = partAt(parts, offset);
  if (offset + length <= endOf(parts[index]!)) return readPart(parts[index]!, offset, length);
  const bytes = new Uint8Array(length);
  for (let at = offset; at < offset + length; index++) {
    const part = parts[index]!;
    const count = Math.min(endOf(part), offset + length) - at;
    bytes.set(readPart(part, at, count), at - offset);
    at += count;
  }
  return bytes;
}

function partAt(parts: Part[], offset: number): number {
  let low = 0;
  let high = parts.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (parts[middle]!.start <= offset) low = middle;
    else high = middle - 1;
  }
  return low;
}

function endOf(part: Part): number {
  return part.start + part.length;
}

function readPart(part: Part, offset: number, length: number): Uint8Array {
  if ('fill' in part) return new Uint8Array(length).fill(part.fill);
  return part.source.read(offset - part.start, length);
}
