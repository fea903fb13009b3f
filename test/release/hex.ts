/** Intel HEX with 16-byte data records and extended linear addresses, for invented firmware. */
export function writeHex(pieces: readonly (readonly [number, Uint8Array])[]): string {
  const lines: string[] = [];
  for (const [start, bytes] of pieces) {
    lines.push(record(0, 4, [start >>> 24, (start >>> 16) & 0xff]));
    for (let at = 0; at < bytes.length; at += 16) {
      lines.push(record((start + at) & 0xffff, 0, [...bytes.subarray(at, at + 16)]));
    }
  }
  return `${[...lines, record(0, 1, [])].join('\n')}\n`;
}

function record(address: number, type: number, data: number[]): string {
  const body = [data.length, address >> 8, address & 0xff, type, ...data];
  const sum = body.reduce((total, value) => total + value, 0);
  return `:${[...body, -sum & 0xff].map((value) => value.toString(16).padStart(2, '0')).join('')}`.toUpperCase();
}
