import { compare, concat, equal, fromUtf8 } from '../bytes/index.ts';
import { encodeFloat } from './float.ts';
import { encodeHead } from './head.ts';

/** What `encode` takes. A whole number becomes an integer, any other finite number a float. */
export type CborValue =
  | number
  | bigint
  | string
  | Uint8Array
  | boolean
  | null
  | readonly CborValue[]
  | CborMap
  | CborTag
  | CborEncoded;

/** A map to encode; the order of the entries does not matter. */
export class CborMap {
  readonly entries: readonly (readonly [CborValue, CborValue])[];

  constructor(entries: Iterable<readonly [CborValue, CborValue]>) {
    this.entries = [...entries];
  }
}

/** A tagged value to encode. */
export class CborTag {
  readonly tag: number | bigint;
  readonly value: CborValue;

  constructor(tag: number | bigint, value: CborValue) {
    this.tag = tag;
    this.value = value;
  }
}

/** One item that is already encoded: it goes out as it is. */
export class CborEncoded {
  readonly bytes: Uint8Array;

  constructor(bytes: Uint8Array) {
    this.bytes = bytes;
  }
}

const LONE_SURROGATE = /\p{Surrogate}/u;

/**
 * Core deterministic encoding of a value (RFC 8949 section 4.2.1). Throws `TypeError` for what has none: a key
 * twice in a map, NaN and infinities, whole numbers beyond 2^53-1 that are no bigint, bigints beyond 64 bits,
 * text with lone surrogates.
 */
export function encode(value: CborValue): Uint8Array {
  const parts: Uint8Array[] = [];
  append(parts, value);
  return concat(...parts);
}

function append(parts: Uint8Array[], value: CborValue): void {
  if (typeof value === 'number') appendNumber(parts, value);
  else if (typeof value === 'bigint') appendInteger(parts, value);
  else if (typeof value === 'string') appendText(parts, value);
  else if (value instanceof Uint8Array) parts.push(encodeHead(2, value.length), value);
  else if (Array.isArray(value)) appendArray(parts, value);
  else if (value instanceof CborMap) appendMap(parts, value);
  else if (value instanceof CborTag) {
    parts.push(encodeHead(6, value.tag));
    append(parts, value.value);
  } else if (value instanceof CborEncoded) parts.push(value.bytes);
  else parts.push(encodeHead(7, simpleNumber(value)));
}

function appendNumber(parts: Uint8Array[], value: number): void {
  if (!Number.isFinite(value)) throw new TypeError(`${value} is not encoded: a finite number was expected`);
  if (Number.isInteger(value)) appendInteger(parts, value);
  else parts.push(encodeFloat(value));
}

function appendInteger(parts: Uint8Array[], value: number | bigint): void {
  if (value >= 0) parts.push(encodeHead(0, value));
  else parts.push(encodeHead(1, typeof value === 'bigint' ? -1n - value : -1 - value));
}

function appendText(parts: Uint8Array[], value: string): void {
  const bytes = asciiBytes(value) ?? utf8Bytes(value);
  parts.push(encodeHead(3, bytes.length), bytes);
}

/** Bytes of an ASCII text: the common case, and a general encoder costs many times as much on it. */
function asciiBytes(value: string): Uint8Array | undefined {
  const bytes = new Uint8Array(value.length);
  for (let i = 0; i < value.length; i++) {
    const unit = value.charCodeAt(i);
    if (unit > 0x7f) return undefined;
    bytes[i] = unit;
  }
  return bytes;
}

function utf8Bytes(value: string): Uint8Array {
  if (LONE_SURROGATE.test(value)) throw new TypeError('text with a lone surrogate has no UTF-8 form');
  return fromUtf8(value);
}

function appendArray(parts: Uint8Array[], items: readonly CborValue[]): void {
  parts.push(encodeHead(4, items.length));
  for (const item of items) append(parts, item);
}

function appendMap(parts: Uint8Array[], map: CborMap): void {
  const sorted = map.entries
    .map(([key, value]) => ({ key: encode(key), value }))
    .sort((a, b) => compare(a.key, b.key));
  parts.push(encodeHead(5, sorted.length));
  sorted.forEach(({ key, value }, i) => {
    if (i > 0 && equal(sorted[i - 1]!.key, key)) throw new TypeError('a map to encode holds a key twice');
    parts.push(key);
    append(parts, value);
  });
}

function simpleNumber(value: unknown): number {
  if (value === false) return 20;
  if (value === true) return 21;
  if (value === null) return 22;
  throw new TypeError(`${value === undefined ? 'undefined' : typeof value} has no CBOR form here`);
}
