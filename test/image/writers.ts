/** Writers of the text formats and of ELF for tests: written from the formats' descriptions, not from the readers. */

/** Bytes at an address. */
export interface Piece {
  address: number;
  bytes: Uint8Array;
}

/** One Intel HEX record with its checksum. */
export function hexRecord(type: number, offset: number, data: ArrayLike<number>): string {
  const bytes = [data.length, offset >> 8, offset & 0xff, type, ...Array.from(data)];
  const sum = bytes.reduce((total, byte) => total + byte, 0);
  return `:${[...bytes, -sum & 0xff].map(twoDigits).join('')}`;
}

/** One S-record with its checksum. */
export function sRecord(type: number, address: number, data: ArrayLike<number>): string {
  const width = [2, 2, 3, 4, 2, 2, 3, 4, 3, 2][type]!;
  const bytes = [width + data.length + 1, ...bigEndian(address, width), ...Array.from(data)];
  const sum = bytes.reduce((total, byte) => total + byte, 0);
  return `S${type}${[...bytes, ~sum & 0xff].map(twoDigits).join('')}`;
}

/** A whole Intel HEX text with extended linear addresses, `width` bytes a record, pieces in the order given. */
export function writeHex(pieces: Piece[], width = 16, lineEnd = '\n'): string {
  const lines: string[] = [];
  let upper = 0;
  for (const { address, bytes } of records(pieces, width, 0x10000)) {
    if (address >>> 16 !== upper) {
      upper = address >>> 16;
      lines.push(hexRecord(4, 0, bigEndian(upper, 2)));
    }
    lines.push(hexRecord(0, address & 0xffff, bytes));
  }
  return [...lines, hexRecord(1, 0, []), ''].join(lineEnd);
}

/** A whole S-record text with a header, a count and an end record; `type` is the data record's: 1, 2 or 3. */
export function writeSRecords(pieces: Piece[], type: 1 | 2 | 3 = 3, width = 16, lineEnd = '\n'): string {
  const data = records(pieces, width, 2 ** 32);
  const lines = data.map(({ address, bytes }) => sRecord(type, address, bytes));
  const count = sRecord(lines.length > 0xffff ? 6 : 5, lines.length, []);
  return [sRecord(0, 0, Buffer.from('test')), ...lines, count, sRecord(10 - type, 0, []), ''].join(lineEnd);
}

function records(pieces: Piece[], width: number, span: number): Piece[] {
  return pieces.flatMap(({ address, bytes }) => {
    const parts: Piece[] = [];
    for (let at = 0; at < bytes.length; ) {
      const room = span - ((address + at) % span);
      const length = Math.min(width, room, bytes.length - at);
      parts.push({ address: address + at, bytes: bytes.subarray(at, at + length) });
      at += length;
    }
    return parts;
  });
}

/** A program header to write: `memorySize` and `virtualAddress` follow the bytes and the address by default. */
export interface ElfSegment extends Piece {
  type?: number;
  memorySize?: number;
  virtualAddress?: number;
}

/** What `writeElf` writes: an executable without sections. */
export interface ElfShape {
  wide: boolean;
  littleEndian: boolean;
  segments: ElfSegment[];
  machine?: number;
  type?: number;
  entry?: number;
}

/** An ELF executable: file header, program headers, then the segments' bytes. */
export function writeElf(shape: ElfShape): Uint8Array {
  const { wide, littleEndian, segments, machine = 40, type = 2, entry = 0 } = shape;
  const [fileHeader, programHeader] = wide ? [64, 56] : [52, 32];
  const bodyAt = fileHeader + segments.length * programHeader;
  const out = new Uint8Array(segments.reduce((sum, { bytes }) => sum + bytes.length, bodyAt));
  const view = new DataView(out.buffer);
  const half = (at: number, value: number) => view.setUint16(at, value, littleEndian);
  const full = (at: number, value: number) => view.setUint32(at, value, littleEndian);
  const word = (at: number, value: number) =>
    wide ? view.setBigUint64(at, BigInt(value), littleEndian) : full(at, value);
  const size = wide ? 8 : 4;
  out.set([0x7f, 0x45, 0x4c, 0x46, wide ? 2 : 1, littleEndian ? 1 : 2, 1]);
  half(16, type);
  half(18, machine);
  full(20, 1);
  word(24, entry);
  word(24 + size, fileHeader);
  const counts = 24 + 3 * size + 4;
  half(counts, fileHeader);
  half(counts + 2, programHeader);
  half(counts + 4, segments.length);
  let body = bodyAt;
  segments.forEach(
    ({ address, bytes, memorySize = bytes.length, virtualAddress = address, type: kind = 1 }, i) => {
      const at = fileHeader + i * programHeader;
      full(at, kind);
      const numbers = at + (wide ? 8 : 4);
      for (const [n, value] of [body, virtualAddress, address, bytes.length, memorySize].entries()) {
        word(numbers + n * size, value);
      }
      out.set(bytes, body);
      body += bytes.length;
    },
  );
  return out;
}

function bigEndian(value: number, width: number): number[] {
  return Array.from({ length: width }, (_, i) => Math.floor(value / 256 ** (width - 1 - i)) % 256);
}

function twoDigits(byte: number): string {
  return byte.toString(16).toUpperCase().padStart(2, '0');
}
