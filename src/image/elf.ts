import { type ByteSource, slice } from '../bytes/index.ts';
import {
  type ElfKind,
  FILE_HEADER,
  HEADER_SIZES,
  headerSize,
  PROGRAM_HEADER,
  readFields,
  SECTION_HEADER,
} from './elf-fields.ts';
import { ImageError, type ImageWhere } from './errors.ts';
import { IMAGE_LIMITS } from './limits.ts';
import type { Segment } from './segment.ts';
import { formatAddress, formatSize } from './size.ts';

/** What an ELF executable puts into memory; `machine` is e_machine (40 Arm, 243 RISC-V). */
export interface ElfImage {
  segments: Segment[];
  entry: number | undefined;
  machine: number;
  locate(address: number): ImageWhere;
}

type FileHeader = Record<keyof typeof FILE_HEADER, number>;
type ProgramHeader = Record<keyof typeof PROGRAM_HEADER, number> & { index: number };
type SectionHeader = Record<keyof typeof SECTION_HEADER, number>;

const IDENTIFICATION_SIZE = 16;
const VERSION = 1;
const EXECUTABLE = 2;
const SHARED = 3;
const LOAD = 1;
const SECTION_NULL = 0;
const SECTION_NO_BITS = 8;
const FLAG_ALLOCATED = 2;
const MOST_PROGRAM_HEADERS = IMAGE_LIMITS.programHeaders.value;
const MOST_SECTIONS = IMAGE_LIMITS.sections.value;
const TYPE_NAMES: Record<number, string> = { 1: 'an object file that is not linked yet', 4: 'a core dump' };

/**
 * Reads an ELF executable, 32 or 64 bit, either byte order: each PT_LOAD program header with p_filesz > 0 gives
 * a segment at p_paddr, the address from which it is stored and loaded, not where it runs (System V ABI chapter
 * 5). Headers are read one by one and segments refer to the source. Where the linker put the file's own headers
 * into the first segment and sections say so, they are left away: they are no part of the program.
 */
export function readElf(source: ByteSource): ElfImage {
  const kind = readKind(source);
  const file = readFields(source, 0, headerSize('file', kind), FILE_HEADER, kind);
  requireFileHeader(file, kind);
  const sections = readSections(source, file, kind);
  const loads = readLoads(source, file, kind)
    .map((load) => (load.offset < file.headerSize ? withoutFileHeaders(load, sections) : load))
    .filter(({ fileSize }) => fileSize > 0)
    .sort((a, b) => a.physicalAddress - b.physicalAddress);
  if (loads.length === 0) throw new ImageError('no-data', 'the ELF file has no segment to load');
  requireDisjoint(loads);
  return {
    segments: loads.map((load) => ({
      address: load.physicalAddress,
      length: load.fileSize,
      source: slice(source, load.offset, load.fileSize),
    })),
    entry: Number.isSafeInteger(file.entry) ? file.entry : undefined,
    machine: file.machine,
    locate: (address) => locate(loads, address),
  };
}

function readKind(source: ByteSource): ElfKind {
  if (source.size < HEADER_SIZES.file.narrow) {
    throw new ImageError('truncated', `the file has ${formatSize(source.size)}, less than an ELF header`);
  }
  const identification = source.read(0, IDENTIFICATION_SIZE);
  const [elfClass, order, version] = identification.subarray(4);
  if (elfClass !== 1 && elfClass !== 2) throw headerError(4, `the ELF class is ${elfClass}, not 1 or 2`);
  if (order !== 1 && order !== 2) throw headerError(5, `the ELF byte order is ${order}, not 1 or 2`);
  if (version !== VERSION) throw headerError(6, `the ELF version is ${version}, not 1`);
  return { wide: elfClass === 2, littleEndian: order === 1 };
}

function headerError(offset: number, says: string): ImageError {
  return new ImageError('elf-header', says, { offset });
}

function requireFileHeader(file: FileHeader, kind: ElfKind): void {
  if (file.type !== EXECUTABLE && file.type !== SHARED) {
    throw new ImageError('elf-type', `it is ${TYPE_NAMES[file.type] ?? `an ELF file of type ${file.type}`}`);
  }
  if (file.version !== VERSION) throw headerError(20, `the object version is ${file.version}, not 1`);
  if (file.headerSize !== headerSize('file', kind)) {
    throw headerError(kind.wide ? 52 : 40, `the ELF header is said to have ${file.headerSize} bytes`);
  }
  if (file.programCount > 0 && file.programEntrySize !== headerSize('program', kind)) {
    throw headerError(kind.wide ? 54 : 42, `a program header is said to have ${file.programEntrySize} bytes`);
  }
  if (file.programCount >= MOST_PROGRAM_HEADERS) {
    throw headerError(kind.wide ? 56 : 44, 'there are more program headers than fit in their count');
  }
}

function readLoads(source: ByteSource, file: FileHeader, kind: ElfKind): ProgramHeader[] {
  const loads: ProgramHeader[] = [];
  for (let index = 0; index < file.programCount; index++) {
    const offset = file.programOffset + index * file.programEntrySize;
    const header = readFields(source, offset, file.programEntrySize, PROGRAM_HEADER, kind);
    if (header.type !== LOAD) continue;
    requireSegment(header, index, source.size);
    if (header.fileSize > 0) loads.push({ ...header, index });
  }
  return loads;
}

function requireSegment(header: Omit<ProgramHeader, 'index'>, record: number, fileSize: number): void {
  const where = { record, address: header.physicalAddress };
  if (header.fileSize > header.memorySize) {
    const says = `the segment has more bytes in the file (${header.fileSize}) than in memory (${header.memorySize})`;
    throw new ImageError('elf-segment', says, where);
  }
  if (header.offset + header.fileSize > fileSize) {
    const says = `the segment's bytes lie beyond the end of the file of ${formatSize(fileSize)}`;
    throw new ImageError('truncated', says, where);
  }
  if (!Number.isSafeInteger(header.physicalAddress + header.fileSize)) {
    throw new ImageError('elf-segment', 'the segment lies beyond address 2^53', { record });
  }
}

/** Allocated sections with bytes in the file; every section is checked to lie inside the file. */
function readSections(source: ByteSource, file: FileHeader, kind: ElfKind): SectionHeader[] {
  if (file.sectionOffset === 0 || file.sectionCount === 0) return [];
  if (file.sectionEntrySize !== headerSize('section', kind) || file.sectionCount >= MOST_SECTIONS) {
    const says = `${file.sectionCount} section headers of ${file.sectionEntrySize} bytes each`;
    throw new ImageError('elf-section', says);
  }
  if (file.nameSection >= file.sectionCount) {
    throw new ImageError(
      'elf-section',
      `section ${file.nameSection}, said to hold the names, does not exist`,
    );
  }
  const stored: SectionHeader[] = [];
  for (let index = 0; index < file.sectionCount; index++) {
    const at = file.sectionOffset + index * file.sectionEntrySize;
    const header = readFields(source, at, file.sectionEntrySize, SECTION_HEADER, kind);
    if (header.type === SECTION_NULL || header.type === SECTION_NO_BITS) continue;
    if (header.offset + header.size > source.size) {
      throw new ImageError('truncated', `section ${index} lies beyond the end of the file`, { offset: at });
    }
    if ((header.flags & FLAG_ALLOCATED) !== 0 && header.size > 0) stored.push(header);
  }
  return stored;
}

function withoutFileHeaders(load: ProgramHeader, sections: SectionHeader[]): ProgramHeader {
  if (sections.length === 0) return load;
  const end = load.offset + load.fileSize;
  const starts = sections
    .map(({ offset }) => offset)
    .filter((offset) => offset >= load.offset && offset < end);
  const skipped = Math.min(load.fileSize, ...starts.map((offset) => offset - load.offset));
  return {
    ...load,
    offset: load.offset + skipped,
    physicalAddress: load.physicalAddress + skipped,
    fileSize: load.fileSize - skipped,
  };
}

function requireDisjoint(loads: ProgramHeader[]): void {
  for (let i = 1; i < loads.length; i++) {
    const [before, load] = [loads[i - 1]!, loads[i]!];
    if (before.physicalAddress + before.fileSize <= load.physicalAddress) continue;
    const says = `${formatAddress(load.physicalAddress)} is also loaded by program header ${before.index}`;
    throw new ImageError('overlap', says, { record: load.index, address: load.physicalAddress });
  }
}

function locate(loads: ProgramHeader[], address: number): ImageWhere {
  const load = loads.find(
    (each) => address >= each.physicalAddress && address < each.physicalAddress + each.fileSize,
  );
  if (!load) return { address };
  return { record: load.index, offset: load.offset + address - load.physicalAddress, address };
}
