import type { ByteSource } from '../bytes/index.ts';
import { ImageError } from './errors.ts';
import { formatAddress } from './size.ts';
import { eachRecord, type TakeData, type TextForm, type TextRecord } from './text-records.ts';

/** `:` length, 16-bit offset, type, data, checksum: the two's complement of the sum of the bytes before it. */
const FORM: TextForm = { mark: ':', otherMark: 'S', prefix: 1, overhead: 5, sum: 0 };
const SPAN = 0x10000;
const PARAGRAPH = 16;

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
  run(state: State, payload: DataView, record: TextRecord): void;
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
  const payload = new DataView(bytes.buffer, bytes.byteOffset + 4, bytes[0]!);
  if (type.length !== undefined && payload.byteLength !== type.length) {
    const says = `a record "${type.name}" has ${payload.byteLength} bytes of data, not ${type.length}`;
    throw new ImageError('bad-field', says, record);
  }
  type.run(state, payload, record);
}

function takeData(state: State, _payload: DataView, record: TextRecord): void {
  const { bytes } = record;
  const offset = bytes[1]! * 256 + bytes[2]!;
  const data = bytes.subarray(4, -1);
  if (state.linearBase !== 0 && state.segmentBase !== 0) {
    const says = 'data under a segment base (type 02) and a linear base (type 04) at once';
    throw new ImageError('mixed-addressing', says, record);
  }
  const base = state.linearBase + state.segmentBase;
  if (offset + data.length > SPAN) {
    const says = `${data.length} bytes at ${formatAddress(base + offset)} run over the end of their 64 KiB`;
    throw new ImageError('address-wrap', says, {
      line: record.line,
      record: record.record,
      address: base + offset,
    });
  }
  if (data.length > 0) state.take(base + offset, data, record);
}

function takeEnd(state: State): void {
  state.ended = true;
}

function takeSegmentBase(state: State, payload: DataView): void {
  state.segmentBase = payload.getUint16(0) * PARAGRAPH;
}

function takeLinearBase(state: State, payload: DataView): void {
  state.linearBase = payload.getUint16(0) * SPAN;
}

function takeSegmentEntry(state: State, payload: DataView, record: TextRecord): void {
  setEntry(state, payload.getUint16(0) * PARAGRAPH + payload.getUint16(2), record);
}

function takeLinearEntry(state: State, payload: DataView, record: TextRecord): void {
  setEntry(state, payload.getUint32(0), record);
}

function setEntry(state: State, entry: number, record: TextRecord): void {
  if (state.entry !== undefined) throw new ImageError('repeated-record', 'a second start address', record);
  state.entry = entry;
}
