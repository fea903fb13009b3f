import type { MemoryMap } from '../image/index.ts';
import { roundUp } from './flash.ts';
import { type FlashLayout, flashLayout } from './flash-layout.ts';
import { noteSize } from './flash-pages.ts';

/**
 * A unit file, byte by byte:
 *
 *     0                 header: 65536 bytes of text (`unit-file-header.ts`)
 *     65536             flash, as the unit sees it: slots, recovery image, envelopes, state, without gaps
 *     then              one note per erase page, of fixed size: wear, programmed and unstable write units
 *                       (`PageNotes`); begins at a multiple of 4096
 *     last 64 bytes     memory that a power cut clears: what runs (1 byte: 0 nothing, 1 and 2 the slots in the
 *                       order of the map, 3 the recovery image), 63 zero bytes
 *
 * A page that was never programmed is stored as zeros and reads as erased, so a new file is sparse. A byte that is
 * changed in the flash area changes what the unit reads there, in such a page too.
 */
export const HEADER_SIZE = 65_536;
export const MEMORY_SIZE = 64;
const ALIGNMENT = 4096;

/** Offsets and sizes in bytes, from the start of the file. */
export interface UnitFileLayout {
  readonly size: number;
  readonly flashOffset: number;
  readonly notesOffset: number;
  readonly notesSize: number;
  readonly memoryOffset: number;
  readonly flash: FlashLayout;
}

/** Where everything lies in the file of a unit with this memory map. Throws `RangeError` as `flashLayout` does. */
export function unitFileLayout(map: MemoryMap): UnitFileLayout {
  const flash = flashLayout(map);
  const notesOffset = roundUp(HEADER_SIZE + flash.size, ALIGNMENT);
  const notesSize = (flash.size / map.flash.erase_page) * noteSize(map.flash);
  const memoryOffset = notesOffset + notesSize;
  const size = memoryOffset + MEMORY_SIZE;
  return { size, flashOffset: HEADER_SIZE, notesOffset, notesSize, memoryOffset, flash };
}
