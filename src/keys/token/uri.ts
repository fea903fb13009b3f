/**
 * pkcs11: URIs (RFC 7512): which token, which object. Only what names them is taken: a PIN never stands in a
 * URI, and neither does a module, since a workspace fetched from elsewhere must not choose code to load.
 */
import { KeyError } from '../error.ts';

/**
 * A key's place: token by label (and more where labels are not unique), object by label, identifier or both.
 */
export interface TokenUri {
  readonly token: string;
  readonly manufacturer?: string;
  readonly model?: string;
  readonly serial?: string;
  readonly object?: string;
  readonly id?: Uint8Array;
}

const SCHEME = 'pkcs11:';
const TEXTS = ['manufacturer', 'model', 'serial', 'object'] as const;
const KNOWN = new Set<string>(['token', 'id', 'type', ...TEXTS]);
// RFC 7512 section 2.3: what an attribute value may hold unencoded (pk11-pchar).
const VALUE = /^(?:[A-Za-z0-9\-._~:[\]@!$'()*+,=&]|%[0-9A-Fa-f]{2})*$/;

/** Reads a pkcs11: URI. Throws `KeyError` token-uri; its message never repeats an attribute's value. */
export function parseTokenUri(text: string): TokenUri {
  if (!text.startsWith(SCHEME)) throw invalid('it does not begin with pkcs11:');
  const [path = '', query] = splitOnce(text.slice(SCHEME.length), '?');
  if (query !== undefined) refuseQuery(query);
  const values = readPath(path);
  const token = textOf(values, 'token');
  if (!token) throw invalid('it names no token (token=LABEL)');
  const texts = TEXTS.map((name) => [name, textOf(values, name)] as const).filter(([, text]) => text);
  const id = values.get('id');
  return { token, ...Object.fromEntries(texts), ...(id && { id }) };
}

/** Writes a pkcs11: URI (RFC 7512 section 2.3); the identifier has every byte percent-encoded. */
export function formatTokenUri(uri: TokenUri): string {
  const parts = [`token=${encode(uri.token)}`];
  for (const name of TEXTS) if (uri[name]) parts.push(`${name}=${encode(uri[name])}`);
  if (uri.id) parts.push(`id=${[...uri.id].map(percent).join('')}`);
  return `${SCHEME}${parts.join(';')}`;
}

function readPath(path: string): Map<string, Uint8Array> {
  const values = new Map<string, Uint8Array>();
  for (const part of path.split(';')) {
    const [name = '', value] = splitOnce(part, '=');
    if (value === undefined) throw invalid('an attribute has no "="');
    if (!KNOWN.has(name)) throw invalid(`the attribute ${printable(name)} is not used here`);
    if (values.has(name)) throw invalid(`the attribute ${name} stands twice`);
    if (!VALUE.test(value))
      throw invalid(`the value of ${name} has a character that must be percent-encoded`);
    values.set(name, decode(value));
  }
  return values;
}

function refuseQuery(query: string): never {
  const names = query.split('&').map((part) => splitOnce(part, '=')[0]);
  if (names.includes('pin-value')) {
    throw invalid('it holds a PIN (pin-value), which would end up in files and listings');
  }
  throw invalid(`the part after "?" is not used here (${names.map(printable).join(', ')})`);
}

function textOf(values: ReadonlyMap<string, Uint8Array>, name: string): string | undefined {
  const bytes = values.get(name);
  if (!bytes) return undefined;
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch {
    throw invalid(`the value of ${name} is not UTF-8`);
  }
}

function decode(value: string): Uint8Array {
  const bytes: number[] = [];
  for (let at = 0; at < value.length; at++) {
    if (value[at] === '%') {
      bytes.push(Number.parseInt(value.slice(at + 1, at + 3), 16));
      at += 2;
    } else bytes.push(value.charCodeAt(at));
  }
  return Uint8Array.from(bytes);
}

function encode(text: string): string {
  return text.replace(/[^A-Za-z0-9\-._~]/gu, (letter) => [...Buffer.from(letter)].map(percent).join(''));
}

function percent(byte: number): string {
  return `%${byte.toString(16).padStart(2, '0')}`;
}

function splitOnce(text: string, separator: string): [string, string | undefined] {
  const at = text.indexOf(separator);
  return at < 0 ? [text, undefined] : [text.slice(0, at), text.slice(at + 1)];
}

function printable(name: string): string {
  return /^[a-z0-9-]{1,32}$/.test(name) ? name : '(not a name)';
}

function invalid(why: string): KeyError {
  return new KeyError(
    'token-uri',
    `The pkcs11: URI cannot be used: ${why}.`,
    'Write it as pkcs11:token=LABEL;object=NAME (RFC 7512). The PIN comes by prompt or FIELDSEAL_PIN, the module ' +
      'by --module or FIELDSEAL_PKCS11_MODULE.',
  );
}
