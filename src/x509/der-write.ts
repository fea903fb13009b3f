/**
 * Writes DER (ITU-T X.690). Each function gives one whole element; `sequence(integer(1), null())` reads like
 * the structure it makes. Wrong use (a text its type cannot hold, a negative length) is a `TypeError`.
 */
import { compare, concat, fromUtf8 } from '../bytes/index.ts';
import { contextTag, TAG } from './der.ts';
import { writeOid } from './der-oid.ts';

/** One element with this tag byte around the parts. */
export function element(tag: number, ...parts: readonly Uint8Array[]): Uint8Array {
  const length = parts.reduce((sum, part) => sum + part.length, 0);
  return concat(Uint8Array.of(tag, ...lengthBytes(length)), ...parts);
}

export function sequence(...parts: readonly Uint8Array[]): Uint8Array {
  return element(TAG.sequence, ...parts);
}

/** A SET OF: the members are put in the order DER asks for (X.690 section 11.6). */
export function setOf(...members: readonly Uint8Array[]): Uint8Array {
  return element(TAG.set, ...[...members].sort(compare));
}

/** `[number]` around whole elements (explicit), or around a sequence's content (implicit). */
export function constructed(number: number, ...parts: readonly Uint8Array[]): Uint8Array {
  return element(contextTag(number, 'constructed'), ...parts);
}

/** `[number]` in place of a primitive type's tag (implicit): `content` is that type's content. */
export function primitive(number: number, content: Uint8Array): Uint8Array {
  return element(contextTag(number, 'primitive'), content);
}

export function boolean(value: boolean): Uint8Array {
  return element(TAG.boolean, Uint8Array.of(value ? 0xff : 0x00));
}

/** An INTEGER that is not negative: a number, or big-endian bytes of any length (leading zeros are dropped). */
export function integer(value: number | Uint8Array): Uint8Array {
  return element(TAG.integer, typeof value === 'number' ? integerContent(value) : positiveContent(value));
}

export function enumerated(value: number): Uint8Array {
  return element(TAG.enumerated, integerContent(value));
}

/** Content bytes of a number that is not negative. */
export function integerContent(value: number): Uint8Array {
  if (!Number.isSafeInteger(value) || value < 0) throw new TypeError(`not a number from 0 to 2^53: ${value}`);
  const hex = value.toString(16);
  return positiveContent(new Uint8Array(Buffer.from(hex.length % 2 ? `0${hex}` : hex, 'hex')));
}

export function oid(dotted: string): Uint8Array {
  return element(TAG.oid, writeOid(dotted));
}

export function octetString(...parts: readonly Uint8Array[]): Uint8Array {
  return element(TAG.octetString, ...parts);
}

/** A BIT STRING of whole bytes, or with some bits of the last byte unused (they must be zero). */
export function bitString(bytes: Uint8Array, unusedBits = 0): Uint8Array {
  return element(TAG.bitString, Uint8Array.of(unusedBits), bytes);
}

/** A BIT STRING of named bits, trailing zero bits dropped (X.690 section 11.2.2). Bit 0 is the leftmost. */
export function namedBits(bits: readonly number[]): Uint8Array {
  const highest = Math.max(-1, ...bits);
  const bytes = new Uint8Array(Math.ceil((highest + 1) / 8));
  for (const bit of bits) bytes[bit >> 3]! |= 0x80 >> (bit & 7);
  return bitString(bytes, bytes.length * 8 - (highest + 1));
}

export function utf8String(text: string): Uint8Array {
  return element(TAG.utf8String, fromUtf8(text));
}

export function printableString(text: string): Uint8Array {
  if (!isPrintable(text)) throw new TypeError(`not a PrintableString: ${text}`);
  return element(TAG.printableString, fromUtf8(text));
}

export function ia5String(text: string): Uint8Array {
  return element(TAG.ia5String, asciiBytes(text));
}

/** The bytes of a text that must be ASCII. */
export function asciiBytes(text: string): Uint8Array {
  const bytes = fromUtf8(text);
  if (bytes.some((byte) => byte > 0x7f)) throw new TypeError(`not ASCII: ${text}`);
  return bytes;
}

/** Whether a text fits a PrintableString (X.680 section 41.4). */
export function isPrintable(text: string): boolean {
  return /^[A-Za-z0-9 '()+,./:=?-]*$/.test(text);
}

function nullElement(): Uint8Array {
  return element(TAG.null);
}

export { nullElement as null };

function positiveContent(bytes: Uint8Array): Uint8Array {
  let start = 0;
  while (start < bytes.length - 1 && bytes[start] === 0) start++;
  const minimal = bytes.subarray(start);
  if (minimal.length === 0) return Uint8Array.of(0);
  return minimal[0]! >= 0x80 ? concat(Uint8Array.of(0), minimal) : minimal;
}

function lengthBytes(length: number): number[] {
  if (length < 0x80) return [length];
  const bytes: number[] = [];
  for (let left = length; left > 0; left = Math.floor(left / 256)) bytes.unshift(left % 256);
  return [0x80 | bytes.length, ...bytes];
}
