/**
 * What keys in a token must be, as tables: the templates to make them, and the rules they are read back
 * against.
 */

import { arch, endianness, platform } from 'node:os';
import type { Handle } from 'pkcs11js';
import { KeyError } from '../error.ts';
import type { AttributeEvidence } from '../evidence.ts';
import type { AttributeName } from './constants.ts';
import { answerOf } from './module.ts';
import type { Attributes, TokenSession } from './session.ts';

/** Wanted value of an attribute read back; null: recorded, but either value will do. */
export type Rules = Partial<Record<AttributeName, boolean | null>>;

/** A private key that signs and never leaves (PKCS#11 v3.2 section 4.9, common private key attributes). */
export const SIGNING_KEY: Attributes = {
  CKA_TOKEN: true,
  CKA_PRIVATE: true,
  CKA_SENSITIVE: true,
  CKA_EXTRACTABLE: false,
  CKA_SIGN: true,
  CKA_DECRYPT: false,
  CKA_UNWRAP: false,
  CKA_DERIVE: false,
};

export const SIGNING_KEY_RULES: Rules = {
  CKA_TOKEN: true,
  CKA_PRIVATE: true,
  CKA_SENSITIVE: true,
  CKA_EXTRACTABLE: false,
  CKA_ALWAYS_SENSITIVE: true,
  CKA_NEVER_EXTRACTABLE: true,
  CKA_LOCAL: true,
  CKA_SIGN: true,
  CKA_DECRYPT: false,
  CKA_UNWRAP: false,
  CKA_DERIVE: false,
  CKA_ALWAYS_AUTHENTICATE: null,
};

/** A MAC key that leaves only wrapped: for the stations that put it into units. */
export const MAC_KEY: Attributes = {
  CKA_TOKEN: true,
  CKA_PRIVATE: true,
  CKA_SENSITIVE: true,
  CKA_EXTRACTABLE: true,
  CKA_SIGN: true,
  CKA_VERIFY: true,
  CKA_ENCRYPT: false,
  CKA_DECRYPT: false,
  CKA_WRAP: false,
  CKA_UNWRAP: false,
  CKA_DERIVE: false,
};

export const MAC_KEY_RULES: Rules = {
  CKA_TOKEN: true,
  CKA_PRIVATE: true,
  CKA_SENSITIVE: true,
  CKA_EXTRACTABLE: true,
  CKA_ALWAYS_SENSITIVE: true,
  CKA_LOCAL: true,
  CKA_SIGN: true,
  CKA_WRAP: false,
  CKA_DERIVE: false,
  CKA_WRAP_WITH_TRUSTED: null,
};

/**
 * A key that wraps MAC keys and never leaves. Public, since a security officer, who marks it trusted, sees no
 * other.
 */
export const WRAPPING_KEY: Attributes = {
  CKA_TOKEN: true,
  CKA_SENSITIVE: true,
  CKA_EXTRACTABLE: false,
  CKA_WRAP: true,
  CKA_UNWRAP: true,
  CKA_ENCRYPT: false,
  CKA_DECRYPT: false,
};

export const WRAPPING_KEY_RULES: Rules = {
  CKA_TOKEN: true,
  CKA_SENSITIVE: true,
  CKA_EXTRACTABLE: false,
  CKA_WRAP: true,
  CKA_DECRYPT: false,
  CKA_LOCAL: null,
  CKA_TRUSTED: null,
};

const OPTIONAL_REFUSED = new Set([
  'CKR_ATTRIBUTE_TYPE_INVALID',
  'CKR_ATTRIBUTE_VALUE_INVALID',
  'CKR_TEMPLATE_INCONSISTENT',
]);

/**
 * Tokens differ in the attributes they take when a key is made: makes it with the strictest set that this one
 * takes.
 */
export function firstTaken<T>(choices: readonly Attributes[], make: (extra: Attributes) => T): T {
  for (const choice of choices.slice(0, -1)) {
    try {
      return make(choice);
    } catch (error) {
      if (!OPTIONAL_REFUSED.has(answerOf(error) ?? '')) throw error;
    }
  }
  return make(choices.at(-1)!);
}

/** Attributes read back and held against rules, in their order. */
export function readBack(session: TokenSession, key: Handle, rules: Rules): AttributeEvidence[] {
  return Object.entries(rules).map(([name, wanted]) => {
    const value = session.read(key, name as AttributeName);
    const found = value === undefined ? 'not known to this token' : String(value[0] === 1);
    return wanted === null
      ? { name, found, wanted: null, ok: null }
      : { name, found, wanted: String(wanted), ok: found === String(wanted) };
  });
}

/** Throws `KeyError` token-key-weak where a key is not what its rules want. */
export function requireStrong(evidence: readonly AttributeEvidence[], token: string): void {
  const weak = evidence.filter((row) => row.ok === false);
  if (weak.length === 0) return;
  const list = weak.map((row) => `${row.name} is ${row.found}, wanted ${row.wanted}`).join('; ');
  throw new KeyError(
    'token-key-weak',
    `The key in the token ${token} is not protected as it must be: ${list}.`,
    'Do not use it. Make a new key with this program, in a token that keeps these attributes.',
  );
}

/** An attribute that is a CK_ULONG, as a number; the module gives it in the machine's own order and width. */
export function readNumber(session: TokenSession, key: Handle, name: AttributeName): number | undefined {
  const bytes = session.read(key, name);
  if (!bytes) return undefined;
  const ordered = endianness() === 'LE' ? bytes.toReversed() : bytes;
  return ordered.reduce((sum, byte) => sum * 256 + byte, 0);
}

/** The value of an attribute that is a list of CK_ULONG, in the machine's own order and width. */
export function numberList(values: readonly number[]): Uint8Array {
  const width = platform() === 'win32' || !arch().includes('64') ? 4 : 8;
  const bytes = Buffer.alloc(values.length * width);
  for (const [i, value] of values.entries()) {
    if (endianness() === 'LE') bytes.writeUInt32LE(value, i * width);
    else bytes.writeUInt32BE(value, (i + 1) * width - 4);
  }
  return bytes;
}
