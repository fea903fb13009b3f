import { fromUtf8, toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';

const LONE_SURROGATE = /\p{Surrogate}/u;

/** What a record may hold. Numbers that may pass 2^53 are written as decimal text. */
export type Json =
  | string
  | number
  | boolean
  | null
  | readonly Json[]
  | { readonly [name: string]: Json | undefined };

/** A JSON object as records use it. */
export type JsonObject = { readonly [name: string]: Json | undefined };

/**
 * JSON in the one form that gives the same bytes for the same value: members sorted by UTF-16 code units, no
 * white space, numbers as ECMAScript writes them (RFC 8785 section 3.2). Members that are `undefined` are left
 * out. Throws `TypeError` on what JSON or RFC 8785 cannot carry.
 */
export function canonicalJson(value: Json): string {
  if (Array.isArray(value)) return `[${value.map((item) => canonicalJson(item)).join(',')}]`;
  if (value !== null && typeof value === 'object') return canonicalObject(value as JsonObject);
  if (typeof value === 'number' && !Number.isFinite(value)) throw new TypeError(`${value} has no JSON form`);
  if (typeof value === 'string' && LONE_SURROGATE.test(value))
    throw new TypeError('text with a lone surrogate');
  const text = JSON.stringify(value);
  if (text === undefined) throw new TypeError(`a ${typeof value} has no JSON form`);
  return text;
}

function canonicalObject(value: JsonObject): string {
  const members = Object.keys(value)
    .filter((name) => value[name] !== undefined)
    .sort()
    .map((name) => `${canonicalJson(name)}:${canonicalJson(value[name] as Json)}`);
  return `{${members.join(',')}}`;
}

/** SHA-256, in hexadecimal, over the canonical form of a value. */
export function jsonDigest(value: Json): string {
  return toHex(sha256(fromUtf8(canonicalJson(value))));
}

/** JSON for people: two spaces, members in the order given, a line end at the end. */
export function readableJson(value: Json): string {
  return `${JSON.stringify(value, null, 2)}\n`;
}
