import { type ByteSource, slice } from '../bytes/index.ts';
import { composeSource } from './compose.ts';
import { ImageError } from './errors.ts';
import { contains, linkRegion, type MemoryMap, type NamedRegion } from './memory.ts';
import { type ReadImage, type ReadOptions, readImage } from './read-image.ts';
import type { ImageFormat } from './recognise.ts';
import type { Segment } from './segment.ts';
import { formatAddress, formatSize } from './size.ts';
import { checkVectorTable, type VectorTable } from './vector-table.ts';

/** Data that stays out of the image, because the class names the range: `length` bytes from `address`. */
export interface LeftOut {
  name: string;
  address: number;
  length: number;
}

/** The one image that goes into a slot. */
export interface FlatImage {
  format: ImageFormat;
  /** Slot whose link address was used. */
  slot: string;
  /** Address the image is linked for: of its first byte. */
  address: number;
  /** From the slot's first byte to the last byte of data; the rest of the slot is not part of the image. */
  size: number;
  source: ByteSource;
  leftOut: LeftOut[];
  /** Stretches filled with the erased value. */
  gaps: { address: number; length: number }[];
  vectorTable?: VectorTable;
}

const ARM = 40;

/** Reads a file for a slot of a class and lays it out: `readImage` with what the slot holds as limit, then `layOut`. */
export function imageForSlot(
  source: ByteSource,
  map: MemoryMap,
  options: Omit<ReadOptions, 'limit' | 'base'> & { slotName?: string | undefined } = {},
): FlatImage {
  const { slotName, ...reading } = options;
  const slot = requireSlot(map, slotName);
  const limit = map.leave_out.reduce((sum, { size }) => sum + size, slot.size);
  return layOut(readImage(source, { ...reading, limit }), map, slotName);
}

/**
 * Lays a read image out for a slot (the first one where none is named): takes away what the class leaves out,
 * refuses data outside the slot, fills gaps with the erased value and checks a Cortex-M vector table. The image
 * ends with its last byte of data; a unit fills its last write unit with the erased value. The result streams.
 * Throws `ImageError`.
 */
export function layOut(read: ReadImage, map: MemoryMap, slotName?: string): FlatImage {
  const slot = requireSlot(map, slotName);
  if (map.core === 'cortex-m' && read.machine !== undefined && read.machine !== ARM) {
    throw new ImageError('elf-machine', `the ELF file is for machine ${read.machine}, Arm is ${ARM}`);
  }
  const placed = read.floating
    ? read.segments.map((each) => ({ ...each, address: slot.address }))
    : read.segments;
  const { kept, leftOut } = leaveOut(placed, map.leave_out);
  if (kept.length === 0)
    throw new ImageError('no-data', 'all data of the file lies in ranges that are left out');
  requireInside(kept, slot, map, read);
  const source = composeSource(slot.address, kept, map.flash.erased_value);
  return {
    format: read.format,
    slot: slot.name,
    address: slot.address,
    size: source.size,
    source,
    leftOut,
    gaps: gapsBetween(slot.address, kept),
    ...(map.core === 'cortex-m' ? { vectorTable: vectorTableOf(source, slot, map, kept, read) } : {}),
  };
}

function requireSlot(map: MemoryMap, slotName: string | undefined): NamedRegion {
  const slot = linkRegion(map, slotName);
  if (slot) return slot;
  const names = map.slots.map(({ name }) => name).join(', ');
  throw new ImageError('unknown-slot', `the class has no slot ${slotName}; it has ${names}`);
}

function leaveOut(segments: Segment[], ranges: NamedRegion[]): { kept: Segment[]; leftOut: LeftOut[] } {
  const leftOut: LeftOut[] = [];
  let kept = segments;
  for (const range of ranges) {
    for (const segment of kept) {
      const inside = within(segment, range.address, range.address + range.size);
      if (inside) leftOut.push({ name: range.name, address: inside.address, length: inside.length });
    }
    kept = kept.flatMap((segment) => [
      ...list(within(segment, 0, range.address)),
      ...list(within(segment, range.address + range.size, Number.MAX_SAFE_INTEGER)),
    ]);
  }
  return { kept, leftOut };
}

function list<T>(item: T | undefined): T[] {
  return item === undefined ? [] : [item];
}

/** The part of a segment from `start` up to `end`. */
function within(segment: Segment, start: number, end: number): Segment | undefined {
  const address = Math.max(start, segment.address);
  const length = Math.min(end, segment.address + segment.length) - address;
  if (length <= 0) return undefined;
  if (length === segment.length) return segment;
  return { address, length, source: slice(segment.source, address - segment.address, length) };
}

function requireInside(kept: Segment[], slot: NamedRegion, map: MemoryMap, read: ReadImage): void {
  const end = slot.address + slot.size;
  const last = kept.at(-1)!;
  const outside = kept[0]!.address < slot.address ? kept[0]!.address : firstBeyond(kept, end);
  if (outside === undefined) return;
  if (read.floating || (kept[0]!.address >= slot.address && dataSize(kept) > slot.size)) {
    const size = formatSize(last.address + last.length - slot.address);
    throw new ImageError(
      'too-large',
      `the image has ${size}, slot ${slot.name} has ${formatSize(slot.size)}`,
    );
  }
  throw outsideSlot(outside, kept, slot, map, read);
}

function firstBeyond(segments: Segment[], end: number): number | undefined {
  const segment = segments.find(({ address, length }) => address + length > end);
  return segment && Math.max(end, segment.address);
}

function dataSize(segments: Segment[]): number {
  return segments.reduce((sum, { length }) => sum + length, 0);
}

function outsideSlot(
  address: number,
  kept: Segment[],
  slot: NamedRegion,
  map: MemoryMap,
  read: ReadImage,
): ImageError {
  const range = `${formatAddress(slot.address)} to ${formatAddress(slot.address + slot.size - 1)}`;
  const found = `data at ${formatAddress(address)} lies outside slot ${slot.name}, ${range}`;
  const other = map.slots.find((each) => each.address !== slot.address && contains(each, kept[0]!.address));
  const where = read.locate(address);
  if (other) {
    const says = `${found}: the file was linked for slot ${other.name}`;
    return new ImageError('wrong-slot', says, where, relinkAdvice(map, slot, other));
  }
  const inRam = contains(map.ram, address) ? ', in RAM: initialised data has no load address in flash' : '';
  return new ImageError('outside-slot', `${found}${inRam}`, where);
}

function relinkAdvice(map: MemoryMap, slot: NamedRegion, other: NamedRegion): string {
  const link = `link it for ${formatAddress(slot.address)}`;
  if (map.shape !== 'linked')
    return `Images of this class run from one address, whichever slot they are in: ${link}.`;
  return `Give it as the image for slot ${other.name}; for slot ${slot.name}, ${link}.`;
}

function gapsBetween(start: number, segments: Segment[]): { address: number; length: number }[] {
  const gaps: { address: number; length: number }[] = [];
  let end = start;
  for (const { address, length } of segments) {
    if (address > end) gaps.push({ address: end, length: address - end });
    end = address + length;
  }
  return gaps;
}

function vectorTableOf(
  source: ByteSource,
  slot: NamedRegion,
  map: MemoryMap,
  kept: Segment[],
  read: ReadImage,
): VectorTable {
  const first = kept[0]!.address;
  if (first > slot.address) {
    const says = `the data begins at ${formatAddress(first)}, slot ${slot.name} at ${formatAddress(slot.address)}`;
    throw new ImageError('vector-table', says, read.locate(first));
  }
  try {
    return checkVectorTable(source, slot, map);
  } catch (error) {
    if (!(error instanceof ImageError) || read.seems === undefined) throw error;
    throw new ImageError(error.code, `${error.says}; the file seems to be ${read.seems}`, error);
  }
}
