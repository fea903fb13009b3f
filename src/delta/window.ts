import type { Cursor } from './cursor.ts';
import { DeltaError } from './errors.ts';
import { hexByte } from './header.ts';

/** Window indicator bits (RFC 3284 section 4.2). */
export const VCD_SOURCE = 0x01;
const VCD_TARGET = 0x02;
/** Common practice outside the RFC: a checksum of the target window behind the lengths. */
const WINDOW_CHECKSUM = 0x04;

/** Where a window copies from: a part of the precursor or of the target written so far. */
export interface Segment {
  readonly of: 'precursor' | 'target' | 'nothing';
  readonly offset: number;
  readonly size: number;
}

/** One window: its source segment, the size of what it makes, and its three sections (RFC 3284 section 4.3). */
export interface DeltaWindow {
  /** Where the window begins in the delta. */
  readonly offset: number;
  readonly segment: Segment;
  readonly targetSize: number;
  readonly data: Cursor;
  readonly instructions: Cursor;
  readonly addresses: Cursor;
}

const SEGMENT_OF = new Map<number, Segment['of']>([
  [0, 'nothing'],
  [VCD_SOURCE, 'precursor'],
  [VCD_TARGET, 'target'],
]);

/** Reads a window up to its end, leaving the sections to their cursors (RFC 3284 sections 4.2 and 4.3). */
export function readWindow(cursor: Cursor): DeltaWindow {
  const { offset } = cursor;
  const segment = readSegment(cursor);
  const encoding = cursor.section(cursor.integer(), 'the window');
  const targetSize = encoding.integer();
  requireUncompressed(encoding);
  const [data, instructions, addresses] = [encoding.integer(), encoding.integer(), encoding.integer()];
  if (data + instructions + addresses !== encoding.left) {
    const told = `its sections have ${data}, ${instructions} and ${addresses} bytes`;
    throw new DeltaError('section-lengths', `${told}, the window holds ${encoding.left}`, encoding.offset);
  }
  return {
    offset,
    segment,
    targetSize,
    data: encoding.section(data, 'the data section'),
    instructions: encoding.section(instructions, 'the instruction section'),
    addresses: encoding.section(addresses, 'the address section'),
  };
}

function readSegment(cursor: Cursor): Segment {
  const { offset } = cursor;
  const indicator = cursor.byte();
  if (indicator & WINDOW_CHECKSUM) {
    throw new DeltaError('window-checksum', 'the window carries a checksum', offset);
  }
  const of = SEGMENT_OF.get(indicator);
  if (!of) throw new DeltaError('bad-indicator', `the window indicator is ${hexByte(indicator)}`, offset);
  if (of === 'nothing') return { of, offset: 0, size: 0 };
  const size = cursor.integer();
  return { of, offset: cursor.integer(), size };
}

function requireUncompressed(cursor: Cursor): void {
  const { offset } = cursor;
  const indicator = cursor.byte();
  if (indicator & 0x07) {
    throw new DeltaError('secondary-compression', 'a section is compressed', offset);
  }
  if (indicator) {
    throw new DeltaError('bad-indicator', `the delta indicator is ${hexByte(indicator)}`, offset);
  }
}
