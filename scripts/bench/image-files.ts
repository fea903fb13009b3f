/** Image files of any size, to be read back: linked at address 0. */

const RECORD_DATA = 16;
const ELF_HEADER_SIZE = 52;
const PROGRAM_HEADER_SIZE = 32;

/** Intel HEX with 16 bytes a record and an extended linear address record for each 64 KiB. */
export function intelHexOf(data: Uint8Array): Uint8Array {
  const lines: string[] = [];
  for (let address = 0; address < data.length; address += RECORD_DATA) {
    if (address % 0x10000 === 0) lines.push(hexRecord(0, 4, Uint8Array.of(address >>> 24, address >>> 16)));
    lines.push(hexRecord(address & 0xffff, 0, data.subarray(address, address + RECORD_DATA)));
  }
  lines.push(hexRecord(0, 1, new Uint8Array()), '');
  return new TextEncoder().encode(lines.join('\n'));
}

function hexRecord(offset: number, type: number, data: Uint8Array): string {
  const bytes = Buffer.from([data.length, offset >>> 8, offset & 0xff, type, ...data]);
  const sum = bytes.reduce((total, byte) => total + byte, 0);
  return `:${bytes.toString('hex')}${(-sum & 0xff).toString(16).padStart(2, '0')}`.toUpperCase();
}

/** A 32-bit little-endian Arm executable with one loadable segment (System V gABI, ELF header, program header). */
export function elfOf(data: Uint8Array): Uint8Array {
  const dataOffset = ELF_HEADER_SIZE + PROGRAM_HEADER_SIZE;
  const file = new Uint8Array(dataOffset + data.length);
  const view = new DataView(file.buffer);
  file.set([0x7f, 0x45, 0x4c, 0x46, 1, 1, 1]);
  for (const [at, value] of [
    [16, 2],
    [18, 40],
    [40, ELF_HEADER_SIZE],
    [42, PROGRAM_HEADER_SIZE],
    [44, 1],
  ] as const) {
    view.setUint16(at, value, true);
  }
  const segment = [1, dataOffset, 0, 0, data.length, data.length, 5, 1];
  view.setUint32(20, 1, true);
  view.setUint32(28, ELF_HEADER_SIZE, true);
  for (const [i, value] of segment.entries()) view.setUint32(ELF_HEADER_SIZE + 4 * i, value, true);
  file.set(data, dataOffset);
  return file;
}
