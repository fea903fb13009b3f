/** Distinguished names (RFC 5280 sections 4.1.2.4 and 7.1), shown as RFC 4514 writes them. */
import { equal, toHex } from '../bytes/index.ts';
import { type DerReader, readDer, TAG } from './der.ts';
import { ia5String, oid, printableString, sequence, setOf, utf8String } from './der-write.ts';
import { OID } from './oids.ts';
import { escapeControls, foldText, textOf } from './text.ts';
import { X509Error } from './x509-error.ts';

/** One attribute of a name. `text` is absent where the value is not a text; `value` is its whole element. */
export interface NameAttribute {
  readonly type: string;
  readonly text: string | undefined;
  readonly value: Uint8Array;
}

/**
 * A distinguished name: its DER, its parts in order of encoding, the same as they are compared, and its text (last
 * part first, RFC 4514).
 */
export interface Name {
  readonly der: Uint8Array;
  readonly parts: readonly (readonly NameAttribute[])[];
  readonly comparable: readonly string[];
  readonly text: string;
}

interface AttributeRow {
  readonly keyword: string;
  readonly oid: string;
  /** Most characters (RFC 5280 appendix A.1, the "ub-" bounds). */
  readonly limit: number;
  readonly write: (text: string) => Uint8Array;
}

/** Attribute types with the keywords of RFC 4519 and RFC 4514 section 3. */
const ATTRIBUTES: readonly AttributeRow[] = [
  { keyword: 'CN', oid: '2.5.4.3', limit: 64, write: utf8String },
  { keyword: 'SN', oid: '2.5.4.4', limit: 40, write: utf8String },
  { keyword: 'serialNumber', oid: '2.5.4.5', limit: 64, write: printableString },
  { keyword: 'C', oid: '2.5.4.6', limit: 2, write: printableString },
  { keyword: 'L', oid: '2.5.4.7', limit: 128, write: utf8String },
  { keyword: 'ST', oid: '2.5.4.8', limit: 128, write: utf8String },
  { keyword: 'STREET', oid: '2.5.4.9', limit: 128, write: utf8String },
  { keyword: 'O', oid: '2.5.4.10', limit: 64, write: utf8String },
  { keyword: 'OU', oid: '2.5.4.11', limit: 64, write: utf8String },
  { keyword: 'title', oid: '2.5.4.12', limit: 64, write: utf8String },
  { keyword: 'givenName', oid: '2.5.4.42', limit: 16, write: utf8String },
  { keyword: 'initials', oid: '2.5.4.43', limit: 5, write: utf8String },
  { keyword: 'generationQualifier', oid: '2.5.4.44', limit: 3, write: utf8String },
  { keyword: 'dnQualifier', oid: '2.5.4.46', limit: 64, write: printableString },
  { keyword: 'pseudonym', oid: '2.5.4.65', limit: 128, write: utf8String },
  { keyword: 'DC', oid: '0.9.2342.19200300.100.1.25', limit: 63, write: ia5String },
  { keyword: 'UID', oid: '0.9.2342.19200300.100.1.1', limit: 256, write: utf8String },
  { keyword: 'emailAddress', oid: OID.emailAddress, limit: 255, write: ia5String },
];
const BY_OID = new Map(ATTRIBUTES.map((row) => [row.oid, row]));
const BY_KEYWORD = new Map(ATTRIBUTES.map((row) => [row.keyword, row]));

/** The OU that marks a certificate as made for trial: it must never count in production. */
export const TRIAL_MARK = 'TRIAL - not for production';

/** Reads a Name; the cursor stands at it. Throws `DerError`, or `X509Error` name-malformed. */
export function readName(reader: DerReader): Name {
  const element = reader.element(TAG.sequence);
  const parts = reader.inside(element).each(readPart);
  return {
    der: element.whole,
    parts,
    comparable: parts.map(comparablePart),
    text: [...parts].reverse().map(partText).join(','),
  };
}

/** A Name from its DER, exactly. */
export function parseName(der: Uint8Array): Name {
  return readDer(der, readName);
}

/**
 * Makes a Name of one attribute per part, in the order given, the widest first: `[['O', 'Hollin Ridge'],
 * ['CN', 'line-1']]`. Throws `X509Error` name-unwritable where a keyword is unknown or a value does not fit.
 */
export function writeName(attributes: readonly (readonly [keyword: string, text: string])[]): Name {
  return parseName(sequence(...attributes.map(([keyword, text]) => writePart(keyword, text))));
}

/** Whether two names are the same (RFC 5280 section 7.1): equal bytes, or equal after string preparation. */
export function sameName(a: Name, b: Name): boolean {
  return equal(a.der, b.der) || (a.comparable.length === b.comparable.length && isWithin(a, b));
}

/** Whether `name` lies in the subtree that `base` roots: its first parts are those of `base`. */
export function isWithin(name: Name, base: Name): boolean {
  return (
    name.comparable.length >= base.comparable.length &&
    base.comparable.every((part, i) => part === name.comparable[i])
  );
}

/** Texts of one attribute type in a name, in order. */
export function attributeTexts(name: Name, type: string): string[] {
  return name.parts.flat().flatMap((attribute) => (attribute.type === type ? (attribute.text ?? []) : []));
}

/** Whether a name carries the trial mark. */
export function hasTrialMark(name: Name): boolean {
  return attributeTexts(name, BY_KEYWORD.get('OU')!.oid).includes(TRIAL_MARK);
}

/** The name with the trial mark, an OU before its last part. */
export function withTrialMark(name: Name): Name {
  if (hasTrialMark(name)) return name;
  const parts = readDer(name.der, (reader) => reader.enter().each((inner) => inner.any().whole));
  const mark = writePart('OU', TRIAL_MARK);
  const before = Math.max(0, parts.length - 1);
  return parseName(sequence(...parts.slice(0, before), mark, ...parts.slice(before)));
}

function readPart(reader: DerReader): NameAttribute[] {
  const start = reader.offset;
  const part = reader.enter(TAG.set).eachOfSet(readAttribute);
  if (part.length === 0) throw new X509Error('name-malformed', { offset: start });
  return part;
}

function readAttribute(reader: DerReader): NameAttribute {
  const inner = reader.enter();
  const type = inner.oid();
  const value = inner.any();
  inner.finish();
  return { type, text: textOf(value), value: value.whole };
}

function writePart(keyword: string, text: string): Uint8Array {
  const row = BY_KEYWORD.get(keyword);
  if (!row) throw new X509Error('name-unwritable', { detail: `no attribute type is called ${keyword}` });
  if (text.length === 0 || [...text].length > row.limit) {
    throw new X509Error('name-unwritable', { detail: `${keyword} takes 1 to ${row.limit} characters` });
  }
  try {
    return setOf(sequence(oid(row.oid), row.write(text)));
  } catch {
    throw new X509Error('name-unwritable', { detail: `${keyword} cannot hold these characters` });
  }
}

function comparablePart(part: readonly NameAttribute[]): string {
  return part.map(comparableAttribute).sort().join('\n');
}

function comparableAttribute({ type, text, value }: NameAttribute): string {
  return text === undefined ? `${type}#${toHex(value)}` : `${type}=${foldText(text)}`;
}

function partText(part: readonly NameAttribute[]): string {
  return part.map(attributeText).join('+');
}

function attributeText({ type, text, value }: NameAttribute): string {
  const keyword = BY_OID.get(type)?.keyword;
  return keyword && text !== undefined
    ? `${keyword}=${escapeText(text)}`
    : `${keyword ?? type}=#${toHex(value)}`;
}

// RFC 4514 section 2.4, and more: control characters are escaped too.
function escapeText(text: string): string {
  const escaped = text
    .replace(/[\\",+;<>]/g, '\\$&')
    .replace(/^[ #]/, '\\$&')
    .replace(/ $/, '\\ ');
  return escapeControls(escaped);
}
