import type { MemoryMap } from '../image/index.ts';
import type { AttestationRules } from './attestation-rules.ts';
import { roundUp } from './flash.ts';
import { type FlashLayout, flashLayout } from './flash-layout.ts';
import { noteSize } from './flash-pages.ts';
import type { UnitRecord } from './record.ts';
import { selfCheckMemorySize } from './self-check-memory.ts';

/**
 * A unit file, byte by byte:
 *
 *     0                 header: 65536 bytes of text (`unit-file-header.ts`)
 *     65536             flash, as the unit sees it: slots, recovery image, envelopes, state, without gaps
 *     then              one note per erase page, of fixed size: wear, programmed and unstable write units
 *                       (`PageNotes`); begins at a multiple of 4096
 *     then              memory that a power cut clears, 64 bytes: what runs (1 byte: 0 nothing, 1 and 2 the slots in
 *                       the order of the map, 3 the recovery image), whether a start is noted (1: 0 no, 1 yes, 2
 *                       with its count), its count (4, big-endian), its seed (16), 42 zero bytes
 *     to the end        where the record asks for a self-check: its memory (`self-check-memory.ts`)
 *
 * A page that was never programmed is stored as zeros and reads as erased, so a new file is sparse. A byte that is
 * changed in the flash area changes what the unit reads there, in such a page too.
 */
export const HEADER_SIZE = 65_536;
/** Of what every unit has; behind it lies the memory of its self-check. */
export const MEMORY_SIZE = 64;
const ALIGNMENT = 4096;

/** Offsets and sizes in bytes, from the start of the file. */
export interface UnitFileLayout {
  readonly size: number;
  readonly flashOffset: number;
  readonly notesOffset: number;
  readonly notesSize: number;
  readonly memoryOffset: number;
  readonly memorySize: number;
  readonly flash: FlashLayout;
}

/**
 * Where everything lies in the file of a unit with this memory map; `rules` where it checks itself. Throws
 * `FlashLayoutError` as `flashLayout` does.
 */
export function unitFileLayout(map: MemoryMap, rules?: AttestationRules): UnitFileLayout {
  const flash = flashLayout(map);
  const notesOffset = roundUp(HEADER_SIZE + flash.size, ALIGNMENT);
  const notesSize = (flash.size / map.flash.erase_page) * noteSize(map.flash);
  const memoryOffset = notesOffset + notesSize;
  const memorySize = MEMORY_SIZE + selfCheckMemorySize(map, rules?.self_check);
  const size = memoryOffset + memorySize;
  return { size, flashOffset: HEADER_SIZE, notesOffset, notesSize, memoryOffset, memorySize, flash };
}

/** The same for a unit with this record. */
export function layoutOf({
  memory,
  attestation,
}: Pick<UnitRecord, 'memory' | 'attestation'>): UnitFileLayout {
  return unitFileLayout(memory, attestation);
}
