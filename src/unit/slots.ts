import { type ByteSource, concat, equal } from '../bytes/index.ts';
import { startSha256 } from '../crypto/index.ts';
import { allAre, type Flash, roundUp } from './flash.ts';
import type { FlashSpan } from './flash-layout.ts';

/** Bytes moved at a time, so that memory does not grow with the image. */
const PIECE_SIZE = 1 << 18;

/** How often an install writes down how far it came, at most. */
export const CHECKPOINTS = 16;

/** A part of the flash as a source; each read reads the flash anew. */
export function spanSource(flash: Flash, { offset, size }: FlashSpan): ByteSource {
  return {
    size,
    read(at, length) {
      if (at < 0 || length < 0 || at + length > size) {
        throw new RangeError(`bytes ${at} to ${at + length} are outside an area of ${size} bytes`);
      }
      return flash.read(offset + at, length);
    },
  };
}

/** Where a fill begins and whom it tells how far it came, in erase pages of the slot. */
export interface FillProgress {
  readonly from: number;
  checkpoint(pages: number): void;
}

/**
 * Writes `size` bytes of `source` to the start of a slot, page by page, each erased right before it is programmed,
 * the last write unit padded with the erased value; then erases the rest of the slot. At most `CHECKPOINTS` calls
 * of `checkpoint`. Filling again from a checkpoint gives the same content.
 */
export function fillSlot(
  flash: Flash,
  slot: FlashSpan,
  source: ByteSource,
  size: number,
  progress: FillProgress,
): void {
  const { erase_page: page } = flash.geometry;
  const pages = Math.ceil(size / page);
  const stride = Math.ceil(pages / CHECKPOINTS);
  for (let first = progress.from; first < pages; ) {
    const end = Math.min(pages, (Math.floor(first / stride) + 1) * stride);
    fillPages(flash, slot, source, size, first, end);
    if (end < pages) progress.checkpoint(end);
    first = end;
  }
  flash.erase(slot.offset + pages * page, slot.size - pages * page);
}

function fillPages(
  flash: Flash,
  slot: FlashSpan,
  source: ByteSource,
  size: number,
  first: number,
  end: number,
): void {
  const { erase_page: page } = flash.geometry;
  const piece = Math.max(1, Math.floor(PIECE_SIZE / page)) * page;
  for (let at = first * page; at < end * page; at += piece) {
    const length = Math.min(piece, end * page - at);
    flash.erase(slot.offset + at, length);
    flash.program(slot.offset + at, padded(flash, source.read(at, Math.min(length, size - at))));
  }
}

/** Replaces what an area holds by `content`. */
export function replaceArea(flash: Flash, area: FlashSpan, content: Uint8Array): void {
  flash.erase(area.offset, area.size);
  flash.program(area.offset, padded(flash, content));
}

/** Whether an area holds `content` and is erased behind it. */
export function areaHolds(flash: Flash, area: FlashSpan, content: Uint8Array): boolean {
  const held = flash.read(area.offset, area.size);
  return (
    equal(held.subarray(0, content.length), content) &&
    allAre(held.subarray(content.length), flash.geometry.erased_value)
  );
}

/** SHA-256 over the first `length` bytes of a source, 32 bytes. */
export function digestOfStart(source: ByteSource, length: number): Uint8Array {
  const hash = startSha256();
  for (let at = 0; at < length; at += PIECE_SIZE) {
    hash.update(source.read(at, Math.min(PIECE_SIZE, length - at)));
  }
  return hash.digest();
}

/** Whether a source holds nothing but `value` from `start` on. */
export function restIs(source: ByteSource, start: number, value: number): boolean {
  for (let at = start; at < source.size; at += PIECE_SIZE) {
    if (!allAre(source.read(at, Math.min(PIECE_SIZE, source.size - at)), value)) return false;
  }
  return true;
}

function padded({ geometry }: Flash, bytes: Uint8Array): Uint8Array {
  const missing = roundUp(bytes.length, geometry.write_unit) - bytes.length;
  return missing === 0 ? bytes : concat(bytes, new Uint8Array(missing).fill(geometry.erased_value));
}
