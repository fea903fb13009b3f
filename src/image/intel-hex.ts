import type { ByteSource } from '../bytes/index.ts';
import { ImageError } from './errors.ts';
import { formatAddress } from './size.ts';
import { eachRecord, type TakeData, type TextForm, type TextRecord } from './text-records.ts';

/** `:` length, 16-bit offset, type, data, checksum: the two's complement of the sum of the bytes before it. */
const FORM: TextForm = { mark: ':', otherMark: 'S', prefix: 1, overhead: 5, sum: 0 };
const SPAN = 0x10000;
const PARAGRAPH = 16;
/** Where a record's data begins. */
const DATA = 4;

interface State {
  take: TakeData;
  /** Upper bits from the last type 04 record. */
  linearBase: number;
  /** Segment base from the last type 02 record. */
  segmentBase: number;
  entry: number | undefined;
  ended: boolean;
}

interface RecordType {
  name: string;
  /** Length of the data; undefined where it is free. */
  length: number | undefined;
  run(state: State, record: TextRecord): void;
}

/** Record types of the Intel Hexadecimal Object File Format Specification, revision A, 1988 (from memory). */
const TYPES: RecordType[] = [
  { name: 'data', length: undefined, run: takeData },
  { name: 'end of file', length: 0, run: takeEnd },
  { name: 'extended segment address', length: 2, run: takeSegmentBase },
  { name: 'start segment address', length: 4, run: takeSegmentEntry },
  { name: 'extended linear address', length: 2, run: takeLinearBase },
  { name: 'start linear address', length: 4, run: takeLinearEntry },
];

/** Reads Intel HEX. Throws `ImageError` with line and record for every deviation from the format. */
export function walkIntelHex(source: ByteSource, take: TakeData): number | undefined {
  const state: State = { take, linearBase: 0, segmentBase: 0, entry: undefined, ended: false };
  eachRecord(source, FORM, (record) => readRecord(state, record));
  if (!state.ended) throw new ImageError('missing-end', 'the end record (type 01) is missing');
  return state.entry;
}

function readRecord(state: State, record: TextRecord): void {
  if (state.ended) throw new ImageError('after-end', 'a record follows the end record', record);
  const { bytes } = record;
  const type = TYPES[bytes[3]!];
  if (!type) throw new ImageError('unknown-record', `record type ${bytes[3]} is not defined`, record);
  if (type.length !== undefined && bytes[0] !== type.length) {
    const says = `a record "${type.name}" has ${bytes[0]} bytes of data, not ${type.length}`;
    throw new ImageError('bad-field', says, record);
  }
  type.run(state, record);
}

function takeData(state: State, record: TextRecord): void {
  const { bytes } = record;
  const offset = number16(bytes, 1);
  const length = bytes[0]!;
  if (state.linearBase !== 0 && state.segmentBase !== 0) {
    const says = 'data under a segment base (type 02) and a linear base (type 04) at once';
    throw new ImageError('mixed-addressing', says, record);
  }
  const base = state.linearBase + state.segmentBase;
  if (offset + length > SPAN) {
    const says = `${length} bytes at ${formatAddress(base + offset)} run over the end of their 64 KiB`;
    throw new ImageError('address-wrap', says, {
      line: record.line,
      record: record.record,
      address: base + offset,
    });
  }
  if (length > 0) state.take(base + offset, bytes, DATA, DATA + length, record);
}

function takeEnd(state: State): void {
  state.ended = true;
}

function takeSegmentBase(state: State, { bytes }: TextRecord): void {
  state.segmentBase = number16(bytes, DATA) * PARAGRAPH;
}

function takeLinearBase(state: State, { bytes }: TextRecord): void {
  state.linearBase = number16(bytes, DATA) * SPAN;
}

function takeSegmentEntry(state: State, record: TextRecord): void {
  setEntry(state, number16(record.bytes, DATA) * PARAGRAPH + number16(record.bytes, DATA + 2), record);
}

function takeLinearEntry(state: State, record: TextRecord): void {
  setEntry(state, number16(record.bytes, DATA) * SPAN + number16(record.bytes, DATA + 2), record);
}

function setEntry(state: State, entry: number, record: TextRecord): void {
  if (state.entry !== undefined) throw new ImageError('repeated-record', 'a second start address', record);
  state.entry = entry;
}

function number16(bytes: Uint8Array, at: number): number {
  return bytes[at]! * 256 + bytes[at + 1]!;
}
