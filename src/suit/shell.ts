import { type ByteSource, compare, fromUtf8, toUtf8 } from '../bytes/index.ts';
import { diagnostic, type Head, readHead } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import { fromCbor } from './read.ts';

/** CBOR tag of an envelope and of a manifest alone ([M] section 11). */
export const ENVELOPE_TAG = 107;
const MANIFEST_TAG = 1070;
const LONGEST_HEAD = 9;
/** Enough for a key that is a number or a short text, and for the head that follows it. */
const SHORT_ENTRY = 32;

/** Offsets of the first byte and of the byte after the last. */
export interface Span {
  readonly start: number;
  readonly end: number;
}

/** What precedes the elements: an optional tag and the head of the map. */
export interface ShellStart {
  readonly tag107: boolean;
  /** Offset of the map's head. */
  readonly map: number;
  readonly count: number;
  /** Offset of the first element's key. */
  readonly end: number;
}

/** One element of the envelope's map, its content unread. */
export interface ShellEntry {
  readonly key: number | string;
  readonly keySpan: Span;
  /** The byte string with its header. */
  readonly span: Span;
  readonly contentStart: number;
}

/** Reads the tag and the map's head by small reads. Throws `SuitError`. */
export function readShellStart(source: ByteSource, maxEntries: number): ShellStart {
  let head = headAt(source, 0);
  const tag107 = head.major === 6;
  if (tag107 && head.argument !== ENVELOPE_TAG) throw notAnEnvelope(head.argument);
  const map = tag107 ? head.end : 0;
  if (tag107) head = headAt(source, map);
  if (head.major !== 5) {
    throw new SuitError(
      'not-an-envelope',
      map,
      'this is no SUIT envelope: a map was expected, tagged 107. Is it the right file?',
    );
  }
  const count = boundedNumber(head.argument, maxEntries, map, 'elements in an envelope');
  return { tag107, map, count, end: head.end };
}

function notAnEnvelope(tag: number | bigint): SuitError {
  const means =
    tag === MANIFEST_TAG
      ? 'this is a manifest without an envelope (tag 1070): nothing in it can be authenticated'
      : `this is no SUIT envelope: tag 107 was expected, found tag ${tag}. ${hintOf(tag)}`;
  return new SuitError('not-an-envelope', 0, means);
}

/** COSE_Mac0 and COSE_Sign1 (RFC 9052 section 2): an encrypted message that carries an envelope begins so. */
function hintOf(tag: number | bigint): string {
  return tag === 17 || tag === 18
    ? 'If it is an encrypted message, only a unit that it was sent to can open it.'
    : 'Is it the right file?';
}

/** Reads the key at `offset` and the head of the byte string after it; the content is not read. */
export function readShellEntry(source: ByteSource, offset: number, maxKeySize: number): ShellEntry {
  const start = source.read(offset, Math.max(0, Math.min(SHORT_ENTRY, source.size - offset)));
  const keyHead = headIn(start, 0, offset);
  const key = readKey(source, offset, keyHead, maxKeySize);
  const keyEnd = typeof key === 'string' ? keyHead.end + Number(keyHead.argument) : keyHead.end;
  const isShort = keyEnd - offset <= SHORT_ENTRY - LONGEST_HEAD;
  const valueHead = isShort ? headIn(start, keyEnd - offset, offset) : headAt(source, keyEnd);
  if (valueHead.major !== 2) {
    throw new SuitError(
      'element-type',
      keyEnd,
      `element ${keyNotation(key)} of the envelope is no byte string ([M] section 8.1)`,
    );
  }
  const length = boundedLength(valueHead.argument, source.size - valueHead.end, keyEnd);
  return {
    key,
    keySpan: { start: offset, end: keyEnd },
    span: { start: keyEnd, end: valueHead.end + length },
    contentStart: valueHead.end,
  };
}

/** The order of two elements by their encoded keys ([M] section 8.1): negative, zero or positive. */
export function keyOrder(a: ShellEntry, b: ShellEntry): number {
  if (typeof a.key === 'number' && typeof b.key === 'number') return a.key - b.key;
  if (typeof a.key === 'string' && typeof b.key === 'string') return textKeyOrder(a.key, b.key);
  return typeof a.key === 'number' ? -1 : 1;
}

/** The head of a text gives its length, so that a shorter one comes first. */
function textKeyOrder(a: string, b: string): number {
  const [one, other] = [fromUtf8(a), fromUtf8(b)];
  return one.length - other.length || compare(one, other);
}

/** The key of an element in diagnostic notation, nothing in it that could upset a terminal. */
export function keyNotation(key: number | string): string {
  if (typeof key === 'number') return String(key);
  return diagnostic({ type: 'text', value: key, start: 0, end: 0, contentStart: 0 });
}

function readKey(source: ByteSource, offset: number, head: Head, maxSize: number): number | string {
  if (head.major === 0 && typeof head.argument === 'number') return head.argument;
  if (head.major === 3) return readTextKey(source, offset, head, maxSize);
  const means =
    head.major <= 1
      ? 'the envelope holds an element with a number that nobody assigned ([M] section 11.1)'
      : 'a key of the envelope is neither a number nor a text ([M] section 8.2)';
  throw new SuitError('element-unknown', offset, means);
}

function readTextKey(source: ByteSource, offset: number, head: Head, maxSize: number): string {
  boundedLength(head.argument, source.size - head.end, offset);
  const length = boundedNumber(head.argument, maxSize, offset, 'bytes in the key of a payload');
  try {
    return toUtf8(source.read(head.end, length));
  } catch (error) {
    throw new SuitError('cbor', offset, 'the key of an integrated payload is not UTF-8', { cause: error });
  }
}

function boundedLength(length: number | bigint, left: number, offset: number): number {
  if (length > left) {
    throw new SuitError(
      'truncated',
      offset,
      `${length} bytes are announced at byte ${offset}, ${left} are left: the file was cut short, or a length is wrong`,
    );
  }
  return Number(length);
}

function boundedNumber(value: number | bigint, limit: number, offset: number, what: string): number {
  if (value > limit) throw new SuitError('limit', offset, `${value} ${what}; at most ${limit} are taken`);
  return Number(value);
}

/** The head at `offset` of a source: at most nine bytes are read. Throws `SuitError`. */
export function headAt(source: ByteSource, offset: number): Head {
  const bytes = source.read(offset, Math.max(0, Math.min(LONGEST_HEAD, source.size - offset)));
  return headIn(bytes, 0, offset);
}

/** The head at `at` of bytes that begin at `base` of the source; its end counts from there too. */
function headIn(bytes: Uint8Array, at: number, base: number): Head {
  try {
    const { major, argument, end } = readHead(bytes, at);
    return { major, argument, end: end + base };
  } catch (error) {
    throw fromCbor(error, base);
  }
}
