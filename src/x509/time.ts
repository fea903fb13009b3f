/** Times as RFC 5280 section 4.1.2.5 writes them: whole seconds, always Z. */
import { type DerReader, TAG } from './der.ts';
import { DerError } from './der-error.ts';
import { asciiBytes, element } from './der-write.ts';

const UTC_TIME = /^(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)Z$/;
const GENERALIZED_TIME = /^(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)Z$/;

/** 99991231235959Z: a certificate without a well-defined end (RFC 5280 section 4.1.2.5). */
const NO_END = Date.parse('9999-12-31T23:59:59Z');

/** A UTCTime (years 1950 to 2049) or GeneralizedTime. Throws `DerError` where it is neither, or no real date. */
export function readTime(reader: DerReader): Date {
  const short = reader.peek() === TAG.utcTime;
  const { content, contentStart } = reader.element(short ? TAG.utcTime : TAG.generalizedTime);
  const parts = (short ? UTC_TIME : GENERALIZED_TIME).exec(String.fromCharCode(...content.subarray(0, 16)));
  if (!parts) throw new DerError('time-malformed', contentStart);
  const [, year = '', month, day, hours, minutes, seconds] = parts;
  const century = short ? (Number(year) < 50 ? '20' : '19') : '';
  const iso = `${century}${year}-${month}-${day}T${hours}:${minutes}:${seconds}.000Z`;
  const date = new Date(iso);
  const real = !Number.isNaN(date.getTime()) && date.toISOString() === iso;
  if (!real) throw new DerError('time-malformed', contentStart);
  return date;
}

/** A notAfter: `null` where it says that there is no well-defined end. */
export function readEnd(reader: DerReader): Date | null {
  const date = readTime(reader);
  return date.getTime() === NO_END ? null : date;
}

/** UTCTime through 2049, GeneralizedTime after; `null` is "no well-defined end". Fractions of a second are dropped. */
export function writeTime(date: Date | null): Uint8Array {
  const instant = date ?? new Date(NO_END);
  const year = instant.getUTCFullYear();
  if (!(year >= 0 && year <= 9999)) throw new TypeError('a certificate date lies in the years 0 to 9999');
  const digits = instant
    .toISOString()
    .replace(/\.\d+Z$/, 'Z')
    .replaceAll(/[-:T]/g, '');
  const short = year >= 1950 && year <= 2049;
  return short
    ? element(TAG.utcTime, asciiBytes(digits.slice(2)))
    : element(TAG.generalizedTime, asciiBytes(digits));
}

/** A time for people: ISO 8601, or a word where a clock gave none. */
export function timeText(date: Date | undefined): string {
  return date && !Number.isNaN(date.getTime()) ? date.toISOString() : 'none';
}
