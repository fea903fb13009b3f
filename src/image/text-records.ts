import type { ByteSource } from '../bytes/index.ts';
import { ImageError } from './errors.ts';
import { eachLine, type Line } from './lines.ts';

/** Position of a record: its line in the file and its number among the records, both counted from 1. */
export interface RecordWhere {
  line: number;
  record: number;
}

/** One record whose digits, length and checksum were found right; the object is used again for the next one. */
export interface TextRecord extends RecordWhere {
  /** Type digit of an S-record, 0 to 9; 0 for Intel HEX, which has its type among the bytes. */
  type: number;
  /** The record's bytes are the first `length` of these: length, address and so on, the checksum last. */
  bytes: Uint8Array;
  length: number;
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

/** Takes data: `bytes` from `start` up to `end`, valid until the next call, go to `address` and up. */
export type TakeData = (
  address: number,
  bytes: Uint8Array,
  start: number,
  end: number,
  where: RecordWhere,
) => void;

/** Reads a text format, hands out its data in the order of the file and returns the start address, if any. */
export type DataWalker = (source: ByteSource, take: TakeData) => number | undefined;

const NOT_A_DIGIT = 0xff;
const LARGEST_DIGIT = 0x0f;
const DIGIT = new Uint8Array(256).fill(NOT_A_DIGIT);
for (const [value, digit] of [...'0123456789abcdef'].entries()) {
  DIGIT[digit.charCodeAt(0)] = value;
  DIGIT[digit.toUpperCase().charCodeAt(0)] = value;
}
const LARGEST_BYTE = 0xff;

/** Hands each record of a text to `take`, having checked its form. Blank lines are passed over. */
export function eachRecord(source: ByteSource, form: TextForm, take: (record: TextRecord) => void): void {
  const bytes = new Uint8Array(LARGEST_BYTE + form.overhead);
  const record: TextRecord = { line: 0, record: 0, type: 0, bytes, length: 0 };
  eachLine(source, form.prefix + 2 * bytes.length, (line) => {
    if (line.end === line.start) return;
    record.line = line.number;
    record.record++;
    requireMark(line, form, record);
    decodeLine(line, form, record);
    requireChecksum(record, form);
    take(record);
  });
}

/** The records that give the byte at `address`: reads the text once more, so that positions need not be kept. */
export function recordsAt(source: ByteSource, walk: DataWalker, address: number): RecordWhere[] {
  const found: RecordWhere[] = [];
  walk(source, (first, _bytes, start, end, { line, record }) => {
    if (address >= first && address < first + end - start) found.push({ line, record });
  });
  return found;
}

function requireMark({ bytes, start }: Line, form: TextForm, where: RecordWhere): void {
  const first = String.fromCharCode(bytes[start]!);
  if (first === form.mark) return;
  if (first === form.otherMark && where.record > 1) {
    throw new ImageError('mixed-formats', `a record of another format, with '${first}' in front`, where);
  }
  const says = `the line begins with ${charText(bytes[start]!)}, not with '${form.mark}'`;
  throw new ImageError('bad-start', says, where);
}

function decodeLine(line: Line, form: TextForm, record: TextRecord): void {
  const digits = line.start + form.prefix;
  record.length = Math.max(0, (line.end - digits) >> 1);
  if (form.prefix === 2 && digits <= line.end) record.type = readType(line.bytes[digits - 1]!, record);
  const { bytes } = line;
  let at = digits;
  for (let i = 0; i < record.length; i++) {
    const high = DIGIT[bytes[at]!]!;
    const low = DIGIT[bytes[at + 1]!]!;
    if ((high | low) > LARGEST_DIGIT) throw badDigit(line, high > LARGEST_DIGIT ? at : at + 1, record);
    record.bytes[i] = (high << 4) | low;
    at += 2;
  }
  if (at < line.end && DIGIT[bytes[at]!] === NOT_A_DIGIT) throw badDigit(line, at, record);
  requireRecordLength(line, form, record);
}

function readType(char: number, where: RecordWhere): number {
  const digit = DIGIT[char]!;
  if (digit <= 9) return digit;
  throw new ImageError('unknown-record', `the record type is ${charText(char)}, not a digit`, where);
}

function badDigit({ bytes, start }: Line, at: number, where: RecordWhere): ImageError {
  const says = `${charText(bytes[at]!)} in column ${at - start + 1} is not a hexadecimal digit`;
  return new ImageError('bad-digit', says, where);
}

function requireRecordLength(line: Line, form: TextForm, record: TextRecord): void {
  const found = line.end - line.start;
  const data = record.length === 0 ? 0 : record.bytes[0]!;
  const expected = form.prefix + 2 * (data + form.overhead);
  if (found === expected) return;
  const says = `the record has ${found} characters where its length byte requires ${expected}`;
  if (line.complete || found > expected) throw new ImageError('bad-length', says, record);
  throw new ImageError('truncated', `the file ends inside a record; ${says}`, record);
}

function requireChecksum(record: TextRecord, form: TextForm): void {
  const { bytes, length } = record;
  let sum = 0;
  for (let i = 0; i < length; i++) sum += bytes[i]!;
  if ((sum & 0xff) === form.sum) return;
  const given = bytes[length - 1]!;
  const right = (form.sum - (sum - given)) & 0xff;
  throw new ImageError('bad-checksum', `the checksum is ${hex(given)}, but should be ${hex(right)}`, record);
}

function hex(byte: number): string {
  return byte.toString(16).toUpperCase().padStart(2, '0');
}

function charText(byte: number): string {
  return byte > 0x20 && byte < 0x7f ? `'${String.fromCharCode(byte)}'` : `the byte 0x${hex(byte)}`;
}
