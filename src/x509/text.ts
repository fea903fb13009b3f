/** The text types of ASN.1 that names use (RFC 5280 section 4.1.2.4), and their comparison (section 7.1). */
import { fromUtf8, toHex, toUtf8 } from '../bytes/index.ts';
import { type DerElement, TAG } from './der.ts';
import { DerError } from './der-error.ts';
import { isPrintable } from './der-write.ts';

const DECODERS: ReadonlyMap<number, (content: Uint8Array) => string | undefined> = new Map([
  [TAG.utf8String, decodeUtf8],
  [TAG.printableString, (content) => only(isPrintable, latin1(content))],
  [TAG.numericString, (content) => only((text) => /^[0-9 ]*$/.test(text), latin1(content))],
  [TAG.ia5String, decodeAscii],
  [TAG.visibleString, decodeAscii],
  [TAG.teletexString, latin1],
  [TAG.bmpString, (content) => decodeUnits(content, 2)],
  [TAG.universalString, (content) => decodeUnits(content, 4)],
]);

/** The text of a string element; `undefined` where its type is not a text. Throws `DerError`: string-malformed. */
export function textOf(element: DerElement): string | undefined {
  const decode = DECODERS.get(element.tag);
  if (!decode) return undefined;
  const text = decode(element.content);
  if (text === undefined) throw new DerError('string-malformed', element.contentStart);
  return text;
}

/**
 * A text as RFC 5280 section 7.1 compares it, after RFC 4518: mapped (2.2), case folded, NFKC (2.3), and with
 * insignificant spaces removed (2.6.1). Two texts are the same name where their results are equal.
 */
export function foldText(text: string): string {
  return (isPlain(text) ? text.toLowerCase() : foldUnicode(text)).replace(/ {2,}/g, ' ').trim();
}

// Printable ASCII needs no tables.
function isPlain(text: string): boolean {
  return /^[ -~]*$/.test(text);
}

function foldUnicode(text: string): string {
  return text
    .replace(/\p{Default_Ignorable_Code_Point}|\ufffc/gu, '')
    .replace(/[\t-\r\u0085\u2028\u2029]/g, ' ')
    .replace(/\p{Cc}/gu, '')
    .toUpperCase()
    .toLowerCase()
    .normalize('NFKC')
    .replace(/\p{Zs}/gu, ' ');
}

/** A text with its control and format characters escaped, so that it cannot steer a terminal. */
export function escapeControls(text: string): string {
  return text.replace(/[\p{Cc}\p{Cf}\u2028\u2029]/gu, (character) =>
    toHex(fromUtf8(character)).replace(/../g, '\\$&'),
  );
}

function only(allowed: (text: string) => boolean, text: string): string | undefined {
  return allowed(text) ? text : undefined;
}

function latin1(content: Uint8Array): string {
  return Buffer.from(content.buffer, content.byteOffset, content.byteLength).toString('latin1');
}

function decodeAscii(content: Uint8Array): string | undefined {
  return content.every((byte) => byte < 0x80) ? latin1(content) : undefined;
}

function decodeUtf8(content: Uint8Array): string | undefined {
  try {
    return toUtf8(content);
  } catch {
    return undefined;
  }
}

function decodeUnits(content: Uint8Array, width: 2 | 4): string | undefined {
  if (content.length % width !== 0) return undefined;
  let text = '';
  for (let at = 0; at < content.length; at += width) {
    const point = content.subarray(at, at + width).reduce((sum, byte) => sum * 256 + byte, 0);
    if (point > 0x10ffff || (point >= 0xd800 && point <= 0xdfff)) return undefined;
    text += String.fromCodePoint(point);
  }
  return text;
}
