import { concat, fromUtf8, toHex, toUtf8 } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { count, hex, literal, object, optional, type Reader, UnitRecordError } from './json-read.ts';
import type { UnitRecord, UnitSecret } from './record.ts';
import { readUnitRecord, secret } from './record-read.ts';
import { HEADER_SIZE, layoutOf, type UnitFileLayout } from './unit-file-layout.ts';

/** Format of a unit file and its version. */
export const UNIT_FILE_FORMAT = 'fieldseal.unit-file/1';

/** Ways in which a file is no usable unit file. */
export type UnitFileErrorCode =
  | 'not-a-unit-file'
  | 'header-damaged'
  | 'header-invalid'
  | 'header-too-large'
  | 'size-wrong';

/** A file that cannot be used as a unit. The message says what happened, what it means and what to do. */
export class UnitFileError extends Error {
  override readonly name = 'UnitFileError';
  readonly code: UnitFileErrorCode;

  constructor(code: UnitFileErrorCode, message: string) {
    super(message);
    this.code = code;
  }
}

/** What the header of a unit file says, apart from offsets. */
export interface UnitFileContent {
  readonly record: UnitRecord;
  /** The unit's own key for its marks, 32 bytes: made with the unit, known to nobody else. */
  readonly marksKey: UnitSecret;
  /** The recovery image that provisioning wrote: length in bytes, SHA-256 in hexadecimal. */
  readonly recovery?: { readonly size_bytes: number; readonly digest: string } | undefined;
}

interface Header {
  readonly format: typeof UNIT_FILE_FORMAT;
  readonly record: UnitRecord;
  readonly marks_key: UnitSecret;
  readonly recovery?: { readonly size_bytes: number; readonly digest: string };
}

const anything: Reader<unknown> = (value) => value;

const header = object({
  format: literal(UNIT_FILE_FORMAT),
  header_size_bytes: anything,
  flash: anything,
  regions: anything,
  page_notes: anything,
  memory: anything,
  record: readUnitRecord as Reader<UnitRecord>,
  marks_key: secret,
  recovery: optional(
    object({ size_bytes: count(Number.MAX_SAFE_INTEGER), digest: hex({ minimum: 32, maximum: 32 }) }),
  ),
}) as Reader<Header>;

const DIGEST_LINE = /^sha256 ([0-9a-f]{64})\n *\n$/;

/**
 * The header of a unit file, exactly `HEADER_SIZE` bytes: one line of JSON, a line `sha256 ` with the digest of that
 * JSON in hexadecimal, spaces, a line feed. Throws `UnitFileError` (`header-too-large`).
 */
export function encodeUnitFileHeader(content: UnitFileContent): Uint8Array {
  const json = fromUtf8(JSON.stringify(headerOf(content, layoutOf(content.record))));
  const line = fromUtf8(`\nsha256 ${toHex(sha256(json))}\n`);
  const padding = HEADER_SIZE - json.length - line.length - 1;
  if (padding < 0) {
    const message =
      `the record of the unit takes ${json.length} bytes and the header of a unit file has ${HEADER_SIZE}: ` +
      'give the unit fewer keys or denied signers';
    throw new UnitFileError('header-too-large', message);
  }
  return concat(json, line, new Uint8Array(padding).fill(0x20), fromUtf8('\n'));
}

/**
 * Reads the header of a unit file. `bytes`: the first `HEADER_SIZE` bytes. Throws `UnitFileError`; a mistake in the
 * record names its field.
 */
export function decodeUnitFileHeader(bytes: Uint8Array): UnitFileContent {
  const parsed = parseLine(bytes);
  try {
    const { record, marks_key: marksKey, recovery } = header(parsed, []);
    return { record, marksKey, ...(recovery ? { recovery } : {}) };
  } catch (error) {
    if (!(error instanceof UnitRecordError)) throw error;
    throw new UnitFileError('header-invalid', `the header of the unit file: ${error.message}`);
  }
}

function headerOf(content: UnitFileContent, layout: UnitFileLayout): Record<string, unknown> {
  const { record, marksKey, recovery } = content;
  return {
    format: UNIT_FILE_FORMAT,
    header_size_bytes: HEADER_SIZE,
    flash: { offset: layout.flashOffset, size: layout.flash.size },
    regions: layout.flash.regions.map(({ name, offset, size, address }) => ({
      name,
      offset: layout.flashOffset + offset,
      size,
      address,
    })),
    page_notes: { offset: layout.notesOffset, size: layout.notesSize },
    memory: { offset: layout.memoryOffset, size: layout.memorySize },
    record,
    marks_key: marksKey,
    ...(recovery ? { recovery } : {}),
  };
}

function parseLine(bytes: Uint8Array): unknown {
  const end = bytes.indexOf(0x0a);
  if (bytes.length !== HEADER_SIZE || bytes[0] !== 0x7b || end < 0) {
    throw new UnitFileError(
      'not-a-unit-file',
      'this is no unit file: it does not begin with a line of JSON and its digest; name a file that ' +
        '"fieldseal provision" made',
    );
  }
  const json = bytes.subarray(0, end);
  const [, digest] = DIGEST_LINE.exec(latin1(bytes.subarray(end + 1))) ?? [];
  if (digest === undefined || digest !== toHex(sha256(json))) {
    throw new UnitFileError(
      'header-damaged',
      'the header of the unit file was changed or damaged: its digest does not match; nothing in it can be ' +
        'relied on, so take a copy from before, or provision the unit again',
    );
  }
  return parseJson(json);
}

/** Whoever writes a digest of his own can still write anything before it. */
function parseJson(json: Uint8Array): unknown {
  try {
    return JSON.parse(toUtf8(json));
  } catch {
    throw new UnitFileError(
      'header-invalid',
      'the header of the unit file is no JSON; provision the unit again',
    );
  }
}

function latin1(bytes: Uint8Array): string {
  return Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length).toString('latin1');
}
