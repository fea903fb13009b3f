import type { ByteSource } from '../bytes/index.ts';
import { ImageError } from './errors.ts';
import { eachLine } from './lines.ts';

/** Position of a record: its line in the file and its number among the records, both counted from 1. */
export interface RecordWhere {
  line: number;
  record: number;
}

/** One record whose digits, length and checksum were found right. `bytes` is valid until the next record. */
export interface TextRecord extends RecordWhere {
  /** Type digit of an S-record, 0 to 9; 0 for Intel HEX, which has its type among the bytes. */
  type: number;
  bytes: Uint8Array;
}

/** What distinguishes the two record formats from each other. */
export interface TextForm {
  /** First character of a record. */
  mark: string;
  /** First character of the other format's records. */
  otherMark: string;
  /** Characters before the pairs of digits. */
  prefix: 1 | 2;
  /** Bytes of a record besides the number given by its first byte. */
  overhead: number;
  /** Sum of all bytes, checksum included, modulo 256. */
  sum: number;
}

/** Takes data: `bytes` (valid until the next call) go to `address` and up. */
export type TakeData = (address: number, bytes: Uint8Array, where: RecordWhere) => void;

/** Reads a text format, hands out its data in the order of the file and returns the start address, if any. */
export type DataWalker = (source: ByteSource, take: TakeData) => number | undefined;

const NOT_A_DIGIT = 0xff;
const DIGIT = new Uint8Array(256).fill(NOT_A_DIGIT);
for (const [value, digit] of [...'0123456789abcdef'].entries()) {
  DIGIT[digit.charCodeAt(0)] = value;
  DIGIT[digit.toUpperCase().charCodeAt(0)] = value;
}
const LARGEST_BYTE = 0xff;

/** Hands each record of a text to `take`, having checked its form. Blank lines are passed over. */
export function eachRecord(source: ByteSource, form: TextForm, take: (record: TextRecord) => void): void {
  const scratch = new Uint8Array(LARGEST_BYTE + form.overhead);
  const longest = form.prefix + 2 * scratch.length;
  let record = 0;
  eachLine(source, longest, (line, number, complete) => {
    if (line.length === 0) return;
    const where = { line: number, record: ++record };
    requireMark(line, form, where);
    if (line.length < form.prefix) requireRecordLength(line, 0, form, scratch, where, complete);
    const type = form.prefix === 2 ? readType(line[1]!, where) : 0;
    const length = decodeDigits(line, form, scratch, where);
    requireRecordLength(line, length, form, scratch, where, complete);
    const bytes = scratch.subarray(0, length);
    requireChecksum(bytes, form, where);
    take({ ...where, type, bytes });
  });
}

/** The records that give the byte at `address`: reads the text once more, so that positions need not be kept. */
export function recordsAt(source: ByteSource, walk: DataWalker, address: number): RecordWhere[] {
  const found: RecordWhere[] = [];
  walk(source, (start, data, { line, record }) => {
    if (address >= start && address < start + data.length) found.push({ line, record });
  });
  return found;
}

function requireMark(line: Uint8Array, form: TextForm, where: RecordWhere): void {
  const first = String.fromCharCode(line[0]!);
  if (first === form.mark) return;
  if (first === form.otherMark && where.record > 1) {
    throw new ImageError('mixed-formats', `a record of another format, with '${first}' in front`, where);
  }
  throw new ImageError(
    'bad-start',
    `the line begins with ${charText(line[0]!)}, not with '${form.mark}'`,
    where,
  );
}

function readType(char: number, where: RecordWhere): number {
  const digit = DIGIT[char]!;
  if (digit <= 9) return digit;
  throw new ImageError('unknown-record', `the record type is ${charText(char)}, not a digit`, where);
}

function decodeDigits(line: Uint8Array, form: TextForm, out: Uint8Array, where: RecordWhere): number {
  const pairs = (line.length - form.prefix) >> 1;
  let at = form.prefix;
  for (let i = 0; i < pairs; i++) {
    const high = DIGIT[line[at]!]!;
    const low = DIGIT[line[at + 1]!]!;
    if ((high | low) > 0x0f) throw badDigit(line, high > 0x0f ? at : at + 1, where);
    out[i] = (high << 4) | low;
    at += 2;
  }
  if (at < line.length && DIGIT[line[at]!] === NOT_A_DIGIT) throw badDigit(line, at, where);
  return pairs;
}

function badDigit(line: Uint8Array, at: number, where: RecordWhere): ImageError {
  const says = `${charText(line[at]!)} in column ${at + 1} is not a hexadecimal digit`;
  return new ImageError('bad-digit', says, where);
}

function requireRecordLength(
  line: Uint8Array,
  length: number,
  form: TextForm,
  bytes: Uint8Array,
  where: RecordWhere,
  complete: boolean,
): void {
  const expected = form.prefix + 2 * (length === 0 ? form.overhead : bytes[0]! + form.overhead);
  if (line.length === expected) return;
  const says = `the record has ${line.length} characters where its length byte requires ${expected}`;
  const cut = !complete && line.length < expected;
  throw new ImageError(
    cut ? 'truncated' : 'bad-length',
    cut ? `the file ends inside a record; ${says}` : says,
    where,
  );
}

function requireChecksum(bytes: Uint8Array, form: TextForm, where: RecordWhere): void {
  let sum = 0;
  for (let i = 0; i < bytes.length; i++) sum += bytes[i]!;
  if ((sum & 0xff) === form.sum) return;
  const given = bytes.at(-1)!;
  const right = (form.sum - (sum - given)) & 0xff;
  throw new ImageError('bad-checksum', `the checksum is ${hex(given)}, but should be ${hex(right)}`, where);
}

function hex(byte: number): string {
  return byte.toString(16).toUpperCase().padStart(2, '0');
}

function charText(byte: number): string {
  return byte > 0x20 && byte < 0x7f ? `'${String.fromCharCode(byte)}'` : `the byte 0x${hex(byte)}`;
}
