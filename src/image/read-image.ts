import { type ByteSource, limitValues } from '../bytes/index.ts';
import { type ElfImage, readElf } from './elf.ts';
import { ImageError, type ImageWhere } from './errors.ts';
import { walkIntelHex } from './intel-hex.ts';
import { IMAGE_LIMITS } from './limits.ts';
import { formatOfName, type ImageFormat, type Recognised, recognise, TITLES } from './recognise.ts';
import { collectRuns } from './runs.ts';
import { walkSRecords } from './s-record.ts';
import type { Segment } from './segment.ts';
import { formatSize } from './size.ts';
import { type DataWalker, recordsAt } from './text-records.ts';

const {
  textData: TEXT_DATA_LIMIT,
  textPerByte: TEXT_PER_BYTE,
  textAllowance: TEXT_ALLOWANCE,
} = limitValues(IMAGE_LIMITS);
const HEAD_SIZE = 1024;

/** How a file is to be read. */
export interface ReadOptions {
  /** Read it as this format, whatever it seems to be; otherwise the content decides. */
  format?: ImageFormat | undefined;
  /** The file's name: its ending says what the content was meant to be. */
  name?: string | undefined;
  /** Address of a raw file's first byte; without it the image is placed where its slot begins. */
  base?: number | undefined;
  /**
   * Most bytes of data that are of use, for example the slot's size. A text format, whose data is decoded in
   * memory, is refused as soon as it gives more; the others take no memory, and `layOut` knows their size.
   */
  limit?: number | undefined;
}

/** An image file as read: what lies at which address. Segments are sorted, do not overlap and are not empty. */
export interface ReadImage {
  format: ImageFormat;
  segments: Segment[];
  /** Bytes in all segments. */
  size: number;
  /** Whether the file has no addresses of its own (a raw file without a base). */
  floating: boolean;
  /** Start address, where the file gives one. */
  entry: number | undefined;
  /** Processor of an ELF file (e_machine). */
  machine: number | undefined;
  /** What the content of a raw file seems to be, where it is known: "a PNG picture". */
  seems: string | undefined;
  /** Where in the file the byte at `address` comes from. */
  locate(address: number): ImageWhere;
}

/**
 * Reads a firmware file. The format is found by content unless `format` names it; raw and ELF images are not
 * held in memory, their segments refer to the source. Throws `ImageError` for everything that is wrong with it.
 */
export function readImage(source: ByteSource, options: ReadOptions = {}): ReadImage {
  if (source.size === 0) throw new ImageError('empty', 'the file has no bytes');
  const seems = recognise(source.read(0, Math.min(HEAD_SIZE, source.size)));
  const format = options.format ?? formatFor(seems, options.name);
  if (format !== 'raw') requireKind(format, seems);
  switch (format) {
    case 'raw':
      return readRaw(source, options, seems);
    case 'elf':
      return fromElf(readElf(source));
    case 'ihex':
      return readText(source, 'ihex', walkIntelHex, options.limit);
    case 'srec':
      return readText(source, 'srec', walkSRecords, options.limit);
  }
}

function formatFor(seems: Recognised, name: string | undefined): ImageFormat {
  if (seems.format) return seems.format;
  if (seems.neverFirmware) throw new ImageError('wrong-kind', `the file seems to be ${seems.title}`);
  return formatOfName(name ?? '') ?? 'raw';
}

/** A text without a recognisable record still goes to its reader, which names the line at fault. */
function requireKind(format: Exclude<ImageFormat, 'raw'>, seems: Recognised): void {
  if (seems.format === format || (seems.isText && !seems.title && format !== 'elf')) return;
  const title = seems.title ?? (seems.isText ? 'plain text' : 'binary data of no kind known here');
  throw new ImageError('wrong-kind', `this is not ${TITLES[format]}: the file seems to be ${title}`);
}

function readRaw(source: ByteSource, { base }: ReadOptions, seems: Recognised): ReadImage {
  const address = base ?? 0;
  if (!Number.isSafeInteger(address) || address < 0 || !Number.isSafeInteger(address + source.size)) {
    throw new TypeError(`base ${address} is not an address`);
  }
  return {
    format: 'raw',
    segments: [{ address, length: source.size, source }],
    size: source.size,
    floating: base === undefined,
    entry: undefined,
    machine: undefined,
    seems: seems.title,
    locate: (wanted) => ({ offset: wanted - address, address: wanted }),
  };
}

function fromElf(elf: ElfImage): ReadImage {
  return {
    format: 'elf',
    segments: elf.segments,
    size: elf.segments.reduce((sum, { length }) => sum + length, 0),
    floating: false,
    entry: elf.entry,
    machine: elf.machine,
    seems: undefined,
    locate: elf.locate,
  };
}

function readText(
  source: ByteSource,
  format: 'ihex' | 'srec',
  walk: DataWalker,
  limit = TEXT_DATA_LIMIT,
): ReadImage {
  const room = Math.min(limit, TEXT_DATA_LIMIT);
  if (source.size > room * TEXT_PER_BYTE + TEXT_ALLOWANCE) {
    const says = `${formatSize(source.size)} of text, where ${formatSize(room)} of data are the most that is of use`;
    throw new ImageError('too-large', says);
  }
  const { segments, size, entry } = collectRuns(source, walk, room);
  return {
    format,
    segments,
    size,
    floating: false,
    entry,
    machine: undefined,
    seems: undefined,
    locate: (address) => ({ ...recordsAt(source, walk, address)[0], address }),
  };
}
