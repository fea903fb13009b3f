/** Formats in which firmware is read. */
export type ImageFormat = 'raw' | 'ihex' | 'srec' | 'elf';

/** The formats' names for people. */
export const TITLES: Record<ImageFormat, string> = {
  raw: 'a raw binary',
  ihex: 'Intel HEX',
  srec: 'Motorola S-record',
  elf: 'ELF',
};

/** What the head of a file seems to be. */
export interface Recognised {
  format?: ImageFormat;
  /** With its article: "a PNG picture". */
  title?: string;
  /** Whether no unit could have such a file as its firmware (an archive may well be part of an image). */
  neverFirmware?: boolean;
  /** Whether the head consists of printable ASCII characters and line ends. */
  isText: boolean;
}

interface Signature {
  title: string;
  /** Bytes as Latin-1 characters. */
  start: string;
  at?: number;
  neverFirmware?: boolean;
}

/** First bytes of files that are taken for firmware by mistake (their published magic numbers, from memory). */
const SIGNATURES: Signature[] = [
  { title: 'a PNG picture', start: '\x89PNG\r\n\x1a\n', neverFirmware: true },
  { title: 'a JPEG picture', start: '\xff\xd8\xff', neverFirmware: true },
  { title: 'a GIF picture', start: 'GIF8', neverFirmware: true },
  { title: 'a PDF document', start: '%PDF-', neverFirmware: true },
  { title: 'a PEM file (a key or certificate)', start: '-----BEGIN ', neverFirmware: true },
  { title: 'a SUIT envelope, sealed already', start: '\xd8\x6b\xa2', neverFirmware: true },
  { title: 'a SUIT envelope, sealed already', start: '\xd8\x6b\xa3', neverFirmware: true },
  { title: 'a SUIT envelope, sealed already', start: '\xd8\x6b\xa4', neverFirmware: true },
  { title: 'a static library', start: '!<arch>\n', neverFirmware: true },
  { title: 'a script', start: '#!', neverFirmware: true },
  { title: 'text in UTF-16', start: '\xff\xfe:\0', neverFirmware: true },
  { title: 'text in UTF-16', start: '\xff\xfeS\0', neverFirmware: true },
  { title: 'an HTML page', start: '<!DOCTYPE', neverFirmware: true },
  { title: 'an HTML page', start: '<!doctype', neverFirmware: true },
  { title: 'an HTML page', start: '<html', neverFirmware: true },
  { title: 'an XML document', start: '<?xml', neverFirmware: true },
  { title: 'a ZIP archive', start: 'PK\x03\x04' },
  { title: 'a gzip file', start: '\x1f\x8b\x08' },
  { title: 'an xz file', start: '\xfd7zXZ\0' },
  { title: 'a bzip2 file', start: 'BZh' },
  { title: 'a Zstandard file', start: '\x28\xb5\x2f\xfd' },
  { title: 'a 7z archive', start: '7z\xbc\xaf\x27\x1c' },
  { title: 'a tar archive', start: 'ustar', at: 257 },
  { title: 'a Windows program', start: 'MZ' },
];

const ELF_MAGIC = '\x7fELF';
const BYTE_ORDER_MARK = '\xef\xbb\xbf';
const HEX_RECORD = /^:[0-9a-fA-F]{8}/;
// With a small s no reader takes it; seen as raw, its text would be sealed for an image.
const S_RECORD = /^[Ss][0-9][0-9a-fA-F]{6}/;
const PRINTABLE = /^[\t\r\n\x20-\x7e]*$/;

/** What a file seems to be, by its first bytes (1 KiB is enough). */
export function recognise(head: Uint8Array): Recognised {
  const text = String.fromCharCode(...head);
  const isText = PRINTABLE.test(text.startsWith(BYTE_ORDER_MARK) ? text.slice(3) : text);
  if (text.startsWith(ELF_MAGIC)) return { format: 'elf', title: 'an ELF file', isText };
  const records = recordFormat(text, isText);
  if (records) return { format: records, title: `${TITLES[records]} text`, isText };
  const known = SIGNATURES.find(({ start, at = 0 }) => text.startsWith(start, at));
  return known ? { title: known.title, neverFirmware: known.neverFirmware ?? false, isText } : { isText };
}

/** The first line decides; in a text, where that line is spoilt, any later one of the head. */
function recordFormat(text: string, isText: boolean): 'ihex' | 'srec' | undefined {
  const lines = text.replace(BYTE_ORDER_MARK, '').trimStart().split(/\r?\n/);
  for (const line of isText ? lines : lines.slice(0, 1)) {
    if (HEX_RECORD.test(line)) return 'ihex';
    if (S_RECORD.test(line)) return 'srec';
  }
  return undefined;
}

const ENDINGS: Record<string, ImageFormat> = {
  hex: 'ihex',
  ihex: 'ihex',
  ihx: 'ihex',
  srec: 'srec',
  s19: 'srec',
  s28: 'srec',
  s37: 'srec',
  mot: 'srec',
  elf: 'elf',
  axf: 'elf',
  bin: 'raw',
  img: 'raw',
};

/** The format that a file name's ending promises, if any. */
export function formatOfName(name: string): ImageFormat | undefined {
  const ending = /\.([^./\\]+)$/.exec(name)?.[1]?.toLowerCase();
  return ending !== undefined && Object.hasOwn(ENDINGS, ending) ? ENDINGS[ending] : undefined;
}
