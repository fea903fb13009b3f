import { equal } from '../bytes/index.ts';
import type { Cursor } from './cursor.ts';
import { DeltaError } from './errors.ts';

/** 'V', 'C', 'D' with the high bit set (RFC 3284 section 4.1). */
const MAGIC = Uint8Array.of(0xd6, 0xc3, 0xc4);
const VERSION = 0;

const VCD_DECOMPRESS = 0x01;
const VCD_CODETABLE = 0x02;
/** Common practice outside the RFC: data for a program, between the header and the first window. */
const APPLICATION_DATA = 0x04;

/** What a delta of this room begins with: nothing optional (RFC 3284 section 4.1). */
export const FILE_HEADER = Uint8Array.of(...MAGIC, VERSION, 0);

/** Reads the header. Throws `DeltaError` for anything but a plain delta of version 0 (RFC 3284 section 4.1). */
export function readFileHeader(cursor: Cursor): void {
  if (cursor.left < MAGIC.length || !equal(cursor.bytes(MAGIC.length), MAGIC)) {
    throw new DeltaError('not-vcdiff', 'it does not begin with d6 c3 c4', 0);
  }
  const version = cursor.byte();
  if (version !== VERSION) throw new DeltaError('unknown-version', `its version is ${version}`, 3);
  requirePlain(cursor.byte(), cursor.offset - 1);
}

function requirePlain(indicator: number, offset: number): void {
  if (indicator & VCD_DECOMPRESS) {
    throw new DeltaError('secondary-compression', 'it names a secondary compressor', offset);
  }
  if (indicator & VCD_CODETABLE) {
    throw new DeltaError('custom-code-table', 'it brings its own code table', offset);
  }
  if (indicator & APPLICATION_DATA) {
    throw new DeltaError('application-header', 'it carries application data', offset);
  }
  if (indicator !== 0) {
    throw new DeltaError('bad-indicator', `its header indicator is ${hexByte(indicator)}`, offset);
  }
}

/** A byte as `0x` and two digits, for messages. */
export function hexByte(value: number): string {
  return `0x${value.toString(16).padStart(2, '0')}`;
}
