/**
 * Bytes: the few helpers that every other room needs. Nothing here knows what the bytes mean.
 */

const HEX_DIGITS = /^(?:[0-9a-fA-F]{2})*$/;
const SHORT_TEXT = 48;
const utf8Decoder = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true });
const utf8Encoder = new TextEncoder();

/** Lower-case hexadecimal without prefix. */
export function toHex(bytes: Uint8Array): string {
  return Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength).toString('hex');
}

/** Reads hexadecimal digits in pairs. Throws `TypeError` on anything else. */
export function fromHex(text: string): Uint8Array {
  if (!HEX_DIGITS.test(text)) throw new TypeError('not hexadecimal: expected pairs of 0-9, a-f');
  return new Uint8Array(Buffer.from(text, 'hex'));
}

/** UTF-8 bytes of a text. */
export function fromUtf8(text: string): Uint8Array {
  return utf8Encoder.encode(text);
}

/** Text of UTF-8 bytes. Throws `TypeError` where they are not UTF-8 (RFC 3629). */
export function toUtf8(bytes: Uint8Array): string {
  return shortAscii(bytes, 0, bytes.length) ?? utf8Decoder.decode(bytes);
}

/** The text of bytes that are ASCII and few: the common case, and a general decoder costs many times as much on it. */
export function shortAscii(bytes: Uint8Array, start: number, end: number): string | undefined {
  if (end - start > SHORT_TEXT) return undefined;
  let text = '';
  for (let i = start; i < end; i++) {
    const byte = bytes[i]!;
    if (byte > 0x7f) return undefined;
    text += String.fromCharCode(byte);
  }
  return text;
}

/** Standard base64 (RFC 4648 section 4). */
export function toBase64(bytes: Uint8Array): string {
  return Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength).toString('base64');
}

/** One array holding the parts in order. */
export function concat(...parts: readonly Uint8Array[]): Uint8Array {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let offset = 0;
  for (const part of parts) {
    whole.set(part, offset);
    offset += part.length;
  }
  return whole;
}

export { ByteMap } from './byte-map.ts';
export { compare, equal } from './compare.ts';
export { type Limit, type LimitTable, limitValues } from './limit.ts';
export { type ByteSource, eachPiece, slice, sourceOf } from './source.ts';
export { view } from './view.ts';
