import { CborError } from './error.ts';

const TWO_TO_32 = 0x1_0000_0000;
const TWO_TO_64 = 1n << 64n;
const SAFE_HIGH_WORD = 0x1f_ffff;

/** The first bytes of an item: major type, argument, and the offset after them. */
export interface Head {
  readonly major: number;
  /** A number while it is a safe integer, a bigint beyond. Major type 7: the simple value or the float's bits. */
  readonly argument: number | bigint;
  readonly end: number;
}

/**
 * Reads the head of the item at `offset` and nothing of its content, for readers that walk through data too large
 * to hold. Throws `CborError` as `decode` does. RFC 8949 section 3.
 */
export function readHead(bytes: Uint8Array, offset: number): Head {
  if (offset >= bytes.length) throw new CborError('truncated', offset);
  const initial = bytes[offset]!;
  const argument = readArgument(bytes, offset, 0);
  return { major: initial >> 5, argument, end: offset + 1 + argumentLength(initial & 31) };
}

/** Bytes that follow the initial byte for additional information 0 to 27. */
export function argumentLength(information: number): number {
  return information < 24 ? 0 : 1 << (information - 24);
}

/**
 * The argument of the head at `offset`, which lies inside `bytes`; shortest form enforced except on floats.
 * `base` is added to the offset in errors.
 */
export function readArgument(bytes: Uint8Array, offset: number, base: number): number | bigint {
  const initial = bytes[offset]!;
  const information = initial & 31;
  if (information < 24) return information;
  if (information > 27) throw new CborError(reservedCause(initial), offset + base);
  if (offset + argumentLength(information) >= bytes.length) throw new CborError('truncated', offset + base);
  if (initial >= 0xe0) return readOfMajorSeven(bytes, offset, base);
  const argument = readUnsigned(bytes, offset + 1, information);
  if (!isShortest(argument, information)) throw new CborError('not-shortest', offset + base);
  return argument;
}

function reservedCause(initial: number): 'stray-break' | 'indefinite-length' | 'reserved-head' {
  if (initial === 0xff) return 'stray-break';
  const major = initial >> 5;
  return (initial & 31) === 31 && major >= 2 && major <= 5 ? 'indefinite-length' : 'reserved-head';
}

function readOfMajorSeven(bytes: Uint8Array, offset: number, base: number): number | bigint {
  const argument = readUnsigned(bytes, offset + 1, bytes[offset]! & 31);
  if (bytes[offset] === 0xf8 && argument < 32) throw new CborError('reserved-simple', offset + base);
  return argument;
}

function readUnsigned(bytes: Uint8Array, at: number, information: number): number | bigint {
  switch (information) {
    case 24:
      return bytes[at]!;
    case 25:
      return (bytes[at]! << 8) | bytes[at + 1]!;
    case 26:
      return readWord(bytes, at);
    default: {
      const high = readWord(bytes, at);
      const low = readWord(bytes, at + 4);
      return high <= SAFE_HIGH_WORD ? high * TWO_TO_32 + low : (BigInt(high) << 32n) | BigInt(low);
    }
  }
}

function readWord(bytes: Uint8Array, at: number): number {
  return bytes[at]! * 0x100_0000 + ((bytes[at + 1]! << 16) | (bytes[at + 2]! << 8) | bytes[at + 3]!);
}

function isShortest(argument: number | bigint, information: number): boolean {
  switch (information) {
    case 24:
      return argument >= 24;
    case 25:
      return argument > 0xff;
    case 26:
      return argument > 0xffff;
    default:
      return argument >= TWO_TO_32;
  }
}

/**
 * The head of an item in its shortest form, 1 to 9 bytes (RFC 8949 section 3). `major` 0 to 7, `argument` 0 to
 * 2^64-1; `TypeError` for anything else.
 */
export function encodeHead(major: number, argument: number | bigint): Uint8Array {
  if (!Number.isInteger(major) || major < 0 || major > 7) throw new TypeError(`no major type ${major}`);
  if (!isArgument(argument)) {
    throw new TypeError(`${argument} cannot be a CBOR argument: 0 to 2^64-1, a bigint above 2^53-1`);
  }
  const head = new Uint8Array(headLength(argument));
  writeHead(head, 0, major, argument);
  return head;
}

function isArgument(value: number | bigint): boolean {
  if (typeof value === 'bigint') return value >= 0n && value < TWO_TO_64;
  return Number.isSafeInteger(value) && value >= 0;
}

/** Length in bytes of the shortest head that holds `argument`. */
export function headLength(argument: number | bigint): number {
  if (argument < 24) return 1;
  if (argument <= 0xff) return 2;
  if (argument <= 0xffff) return 3;
  return argument < TWO_TO_32 ? 5 : 9;
}

/** Writes the shortest head at `at`, where `headLength(argument)` bytes are free. */
export function writeHead(target: Uint8Array, at: number, major: number, argument: number | bigint): void {
  const length = headLength(argument);
  if (length === 1) {
    target[at] = (major << 5) | Number(argument);
    return;
  }
  const widthCode = length === 2 ? 24 : length === 3 ? 25 : length === 5 ? 26 : 27;
  target[at] = (major << 5) | widthCode;
  if (length < 9) writeBigEndian(target, at + 1, length - 1, Number(argument));
  else {
    const wide = BigInt(argument);
    writeBigEndian(target, at + 1, 4, Number(wide >> 32n));
    writeBigEndian(target, at + 5, 4, Number(wide & 0xffff_ffffn));
  }
}

function writeBigEndian(target: Uint8Array, at: number, width: number, value: number): void {
  for (let i = 0; i < width; i++) target[at + i] = value >>> (8 * (width - 1 - i));
}
