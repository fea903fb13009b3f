import type { ByteSource } from '../bytes/index.ts';
import { ImageError } from './errors.ts';

/** Offset of a field and its width in bytes; `word` fields are 4 bytes wide in ELF32 and 8 in ELF64. */
type Field = readonly [offset32: number, offset64: number, width: 2 | 4 | 'word'];
type Layout = Record<string, Field>;

/** Fields of the file header that are read (System V ABI, chapter 4, ELF header; from memory). */
export const FILE_HEADER = {
  type: [16, 16, 2],
  machine: [18, 18, 2],
  version: [20, 20, 4],
  entry: [24, 24, 'word'],
  programOffset: [28, 32, 'word'],
  sectionOffset: [32, 40, 'word'],
  headerSize: [40, 52, 2],
  programEntrySize: [42, 54, 2],
  programCount: [44, 56, 2],
  sectionEntrySize: [46, 58, 2],
  sectionCount: [48, 60, 2],
  nameSection: [50, 62, 2],
} as const satisfies Layout;

/** Fields of a program header (chapter 5). */
export const PROGRAM_HEADER = {
  type: [0, 0, 4],
  offset: [4, 8, 'word'],
  physicalAddress: [12, 24, 'word'],
  fileSize: [16, 32, 'word'],
  memorySize: [20, 40, 'word'],
} as const satisfies Layout;

/** Fields of a section header (chapter 4, Sections). */
export const SECTION_HEADER = {
  type: [4, 4, 4],
  flags: [8, 8, 'word'],
  offset: [16, 24, 'word'],
  size: [20, 32, 'word'],
} as const satisfies Layout;

/** Class and byte order of an ELF file. */
export interface ElfKind {
  wide: boolean;
  littleEndian: boolean;
}

/** Sizes in bytes of the three headers, by class. */
export const HEADER_SIZES = {
  file: { narrow: 52, wide: 64 },
  program: { narrow: 32, wide: 56 },
  section: { narrow: 40, wide: 64 },
} as const;

/** Size of one of the headers for a class. */
export function headerSize(which: keyof typeof HEADER_SIZES, { wide }: ElfKind): number {
  return HEADER_SIZES[which][wide ? 'wide' : 'narrow'];
}

/**
 * All fields of a layout, read from `offset` as whole numbers; one above 2^53 - 1 comes as `Infinity`, which
 * fits in no file and no slot. Throws `ImageError` 'truncated' where the file ends sooner.
 */
export function readFields<L extends Layout>(
  source: ByteSource,
  offset: number,
  size: number,
  layout: L,
  kind: ElfKind,
): Record<keyof L, number> {
  if (offset + size > source.size) {
    throw new ImageError('truncated', `a header at offset ${offset} lies beyond the end of the file`, {
      offset,
    });
  }
  const bytes = source.read(offset, size);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const read = ([at32, at64, width]: Field) => readNumber(view, kind.wide ? at64 : at32, width, kind);
  return Object.fromEntries(Object.entries(layout).map(([name, field]) => [name, read(field)])) as Record<
    keyof L,
    number
  >;
}

function readNumber(view: DataView, at: number, width: Field[2], { wide, littleEndian }: ElfKind): number {
  if (width === 2) return view.getUint16(at, littleEndian);
  if (width === 4 || !wide) return view.getUint32(at, littleEndian);
  const value = view.getBigUint64(at, littleEndian);
  return value > BigInt(Number.MAX_SAFE_INTEGER) ? Number.POSITIVE_INFINITY : Number(value);
}
