import type { ByteSource } from '../bytes/index.ts';
import { ImageError } from './errors.ts';
import { formatAddress } from './size.ts';
import { eachRecord, type TakeData, type TextForm, type TextRecord } from './text-records.ts';

/** `S`, type, length, address, data, checksum: the one's complement of the sum of the bytes before it. */
const FORM: TextForm = { mark: 'S', otherMark: ':', prefix: 2, overhead: 1, sum: 0xff };

interface State {
  take: TakeData;
  /** Records with data (S1, S2, S3) so far. */
  count: number;
  counted: boolean;
  headed: boolean;
  /** Lowest address of the records of each address width. */
  lowest: Map<number, { address: number; line: number; record: number }>;
  entry: number | undefined;
  ended: boolean;
}

interface RecordType {
  /** Bytes of the address field. */
  width: 2 | 3 | 4;
  /** `address` may also be a count or the start address. */
  run(state: State, address: number, record: TextRecord): void;
}

/** Record types by their digit (Motorola S-record, M68000 family manuals, from memory); S4 is reserved. */
const TYPES: (RecordType | undefined)[] = [
  { width: 2, run: takeHeader },
  { width: 2, run: takeData },
  { width: 3, run: takeData },
  { width: 4, run: takeData },
  undefined,
  { width: 2, run: takeCount },
  { width: 3, run: takeCount },
  { width: 4, run: takeEnd },
  { width: 3, run: takeEnd },
  { width: 2, run: takeEnd },
];

/** Reads Motorola S-records. Throws `ImageError` with line and record for every deviation from the format. */
export function walkSRecords(source: ByteSource, take: TakeData): number | undefined {
  const state: State = {
    take,
    count: 0,
    counted: false,
    headed: false,
    lowest: new Map(),
    entry: undefined,
    ended: false,
  };
  eachRecord(source, FORM, (record) => readRecord(state, record));
  if (!state.ended) {
    const perhaps = state.counted ? '; srec_cat writes one only with -execution-start-address' : '';
    throw new ImageError('missing-end', `the end record (S7, S8 or S9) is missing${perhaps}`);
  }
  requireNarrowest(state);
  return state.entry;
}

function readRecord(state: State, record: TextRecord): void {
  if (state.ended) throw new ImageError('after-end', 'a record follows the end record', record);
  const type = TYPES[record.type];
  if (!type) throw new ImageError('unknown-record', `record type S${record.type} is not defined`, record);
  const { bytes } = record;
  if (bytes[0]! <= type.width) {
    const says = `an S${record.type} record of ${bytes[0]} bytes has no room for its address`;
    throw new ImageError('bad-field', says, record);
  }
  let address = 0;
  for (let i = 1; i <= type.width; i++) address = address * 256 + bytes[i]!;
  type.run(state, address, record);
}

/**
 * No checksum covers the type digit. Writers use one width throughout, or for each record the narrowest that
 * holds its address (but none below a least width), so that most damaged digits show.
 */
function requireNarrowest({ lowest }: State): void {
  const least = Math.min(...lowest.keys());
  for (const [width, { address, line, record }] of lowest) {
    if (width === least || address >= 256 ** (width - 1)) continue;
    const says = `${width * 8} bits for ${formatAddress(address)}, while other records have ${least * 8} bits`;
    throw new ImageError('mixed-widths', says, { line, record, address });
  }
}

function takeHeader(state: State, address: number, record: TextRecord): void {
  if (address !== 0) {
    throw new ImageError(
      'bad-field',
      `a header record (S0) with the address ${formatAddress(address)}`,
      record,
    );
  }
  if (state.headed) throw new ImageError('repeated-record', 'a second header record (S0)', record);
  if (state.count > 0) throw new ImageError('record-order', 'a header record (S0) behind data', record);
  state.headed = true;
}

function takeData(state: State, address: number, record: TextRecord): void {
  if (state.counted) throw new ImageError('record-order', 'data behind the count record', record);
  state.count++;
  const { width } = TYPES[record.type]!;
  const { line, record: number, bytes } = record;
  const length = dataLength(record);
  if (address < (state.lowest.get(width)?.address ?? Number.POSITIVE_INFINITY)) {
    state.lowest.set(width, { address, line, record: number });
  }
  if (address + length > 256 ** width) {
    const says = `${length} bytes at ${formatAddress(address)} run over the end of the addresses`;
    throw new ImageError('address-wrap', says, { line, record: number, address });
  }
  if (length > 0) state.take(address, bytes, 1 + width, 1 + width + length, record);
}

function takeCount(state: State, count: number, record: TextRecord): void {
  requireNoData(record);
  if (state.counted) throw new ImageError('repeated-record', 'a second count record', record);
  if (count !== state.count) {
    const says = `the count record says ${count} data records, the file has ${state.count} before it`;
    throw new ImageError('wrong-count', says, record);
  }
  state.counted = true;
}

function takeEnd(state: State, entry: number, record: TextRecord): void {
  requireNoData(record);
  state.entry = entry;
  state.ended = true;
}

function requireNoData(record: TextRecord): void {
  const length = dataLength(record);
  if (length === 0) return;
  throw new ImageError('bad-field', `an S${record.type} record with ${length} bytes of data`, record);
}

function dataLength(record: TextRecord): number {
  return record.bytes[0]! - TYPES[record.type]!.width - 1;
}
