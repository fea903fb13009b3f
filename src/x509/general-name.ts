/** GeneralName (RFC 5280 section 4.2.1.6): the forms a certificate may name its subject in besides the subject. */
import { fromUtf8 } from '../bytes/index.ts';
import { contextTag, type DerReader, isConstructed } from './der.ts';
import { primitive } from './der-write.ts';
import { X509_LIMITS } from './limits.ts';
import { type Name, readName } from './name.ts';
import { X509Error } from './x509-error.ts';

export type GeneralName =
  | {
      readonly form: 'rfc822Name' | 'dNSName' | 'uniformResourceIdentifier' | 'registeredID';
      readonly text: string;
    }
  | { readonly form: 'directoryName'; readonly name: Name }
  | { readonly form: 'iPAddress'; readonly bytes: Uint8Array }
  | { readonly form: 'otherName' | 'x400Address' | 'ediPartyName'; readonly bytes: Uint8Array };

export type GeneralNameForm = GeneralName['form'];

/** Most names that one extension may list. */
export const MAX_NAMES = X509_LIMITS.names.value;

const OPAQUE_FORMS = new Map([
  [0, 'otherName'],
  [3, 'x400Address'],
  [5, 'ediPartyName'],
] as const);
const TEXT_FORMS = new Map([
  [1, 'rfc822Name'],
  [2, 'dNSName'],
  [6, 'uniformResourceIdentifier'],
] as const);
const DIRECTORY_NAME = 4;
const IP_ADDRESS = 7;
const REGISTERED_ID = 8;

/** GeneralNames: one or more, at most `MAX_NAMES`. */
export function readGeneralNames(reader: DerReader): GeneralName[] {
  const start = reader.offset;
  const names = reader.enter().each(readGeneralName);
  if (names.length === 0 || names.length > MAX_NAMES) throw new X509Error('names-count', { offset: start });
  return names;
}

/** One GeneralName; the cursor stands at it. */
export function readGeneralName(reader: DerReader): GeneralName {
  const start = reader.offset;
  const tag = reader.peek() ?? 0;
  const number = tag & 0x1f;
  const text = TEXT_FORMS.get(number as 1);
  const opaque = OPAQUE_FORMS.get(number as 0);
  if (text && tag === contextTag(number, 'primitive'))
    return { form: text, text: readPrintable(reader, tag) };
  if (tag === contextTag(DIRECTORY_NAME, 'constructed'))
    return { form: 'directoryName', name: readExplicitName(reader) };
  if (tag === contextTag(IP_ADDRESS, 'primitive'))
    return { form: 'iPAddress', bytes: reader.element(tag).content };
  if (tag === contextTag(REGISTERED_ID, 'primitive')) return { form: 'registeredID', text: reader.oid(tag) };
  const element = reader.any();
  if (opaque && isConstructed(element) && tag >= 0xa0) return { form: opaque, bytes: element.whole };
  throw new X509Error('general-name-malformed', { offset: start });
}

/** The URIs among some names, in order. */
export function urisOf(names: readonly GeneralName[] = []): string[] {
  return names.flatMap((name) => (name.form === 'uniformResourceIdentifier' ? name.text : []));
}

/** A uniformResourceIdentifier. */
export function writeUri(uri: string): Uint8Array {
  return primitive(6, fromUtf8(uri));
}

// None of these forms may hold a space or control character (RFC 3986, RFC 1034, RFC 5321).
function readPrintable(reader: DerReader, tag: number): string {
  const start = reader.offset;
  const text = reader.ia5String(tag);
  if (!/^[!-~]*$/.test(text)) throw new X509Error('general-name-malformed', { offset: start });
  return text;
}

function readExplicitName(reader: DerReader): Name {
  const inner = reader.enter(contextTag(DIRECTORY_NAME, 'constructed'));
  const name = readName(inner);
  inner.finish();
  return name;
}
