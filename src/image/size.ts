import { ImageError } from './errors.ts';

const UNITS = { B: 1, KiB: 2 ** 10, MiB: 2 ** 20, GiB: 2 ** 30, TiB: 2 ** 40 } as const;
const SIZE = /^(?:(0x[0-9a-fA-F]+)|([0-9]+) ?(B|KiB|MiB|GiB|TiB)?)$/;

/**
 * Reads a size in bytes: `256KiB`, `2GiB`, `262144` or `0x40000` (binary units of IEC 80000-13). Throws
 * `ImageError` 'bad-size' on anything else, such as the ambiguous `256K`, and beyond 2^53 - 1 bytes.
 */
export function parseSize(text: string): number {
  const match = SIZE.exec(text.trim());
  if (!match) throw new ImageError('bad-size', `${JSON.stringify(text)} is not a size`);
  const [, hexadecimal, digits, unit] = match;
  const size = hexadecimal
    ? Number(hexadecimal)
    : Number(digits) * UNITS[(unit ?? 'B') as keyof typeof UNITS];
  if (!Number.isSafeInteger(size)) throw new ImageError('bad-size', `${text} is beyond 2^53 - 1 bytes`);
  return size;
}

/** A size for people: in the largest binary unit that divides it, else in bytes (`256 KiB`, `1000 bytes`). */
export function formatSize(bytes: number): string {
  for (const unit of ['TiB', 'GiB', 'MiB', 'KiB'] as const) {
    if (bytes >= UNITS[unit] && bytes % UNITS[unit] === 0) return `${bytes / UNITS[unit]} ${unit}`;
  }
  return bytes === 1 ? '1 byte' : `${bytes} bytes`;
}

/** An address as `0x` and at least eight digits. */
export function formatAddress(address: number): string {
  return `0x${address.toString(16).padStart(8, '0')}`;
}
