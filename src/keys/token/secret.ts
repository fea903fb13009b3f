/** Secret keys in a token: MAC keys that leave only wrapped, and the wrapping keys of production stations. */
import type { Handle } from 'pkcs11js';
import type { MacKey } from '../../cose/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { HMAC_ALGORITHM } from '../algorithms.ts';
import { KeyError } from '../error.ts';
import type { AttributeEvidence } from '../evidence.ts';
import { CHECK_VALUE_LENGTH, CHECK_VALUE_MESSAGE } from '../fingerprint.ts';
import {
  firstTaken,
  MAC_KEY,
  MAC_KEY_RULES,
  type Rules,
  readBack,
  readNumber,
  requireStrong,
  WRAPPING_KEY,
  WRAPPING_KEY_RULES,
} from './attributes.ts';
import { CK } from './constants.ts';
import { locate, type NewPlace, tracked } from './locate.ts';
import { type Attributes, type TokenSession, templateOf } from './session.ts';
import type { TokenUri } from './uri.ts';

const MAC_OBJECT = { CKA_CLASS: CK.classSecretKey, CKA_KEY_TYPE: CK.keyTypeGenericSecret };
const WRAPPING_OBJECT = { CKA_CLASS: CK.classSecretKey, CKA_KEY_TYPE: CK.keyTypeAes };
const KEY_LENGTH = 32;
const MAC_LENGTH = 32;
const WRAPPING_GROWTH = 8;

/**
 * Makes a MAC key of 32 bytes in the token: sensitive, wrappable, and only under a wrapping key that the
 * security officer marked as trusted, where the token knows CKA_WRAP_WITH_TRUSTED (the attributes read back
 * say so). Throws `KeyError` token-key-weak.
 */
export function generateMacKey(session: TokenSession, place: NewPlace): AttributeEvidence[] {
  const strictest = [
    { CKA_WRAP_WITH_TRUSTED: true, CKA_ALLOWED_MECHANISMS: CK.sha256Hmac },
    { CKA_WRAP_WITH_TRUSTED: true },
    {},
  ];
  const attributes = { ...MAC_OBJECT, ...MAC_KEY };
  return generate(session, place, CK.genericSecretKeyGen, attributes, MAC_KEY_RULES, strictest);
}

/** MAC key in the token; every MAC is made there. */
export async function openTokenMacKey(session: TokenSession, uri: TokenUri): Promise<MacKey> {
  const key = tracked(session, () => locate(session, uri, MAC_OBJECT));
  requireStrong(inspectMacKey(session, uri), session.label);
  const mac = (message: Uint8Array) => session.sign(key, CK.sha256Hmac, message, MAC_LENGTH);
  const keyId = (await mac(CHECK_VALUE_MESSAGE)).slice(0, CHECK_VALUE_LENGTH);
  return { algorithm: HMAC_ALGORITHM, keyId, mac };
}

/** Attributes of a MAC key in the token, as they stand. */
export function inspectMacKey(session: TokenSession, uri: TokenUri): AttributeEvidence[] {
  return readBack(session, locate(session, uri, MAC_OBJECT), MAC_KEY_RULES);
}

/**
 * Makes a station's wrapping key in the token (AES-256), or brings in the one that the station has already
 * (`secret`). Only in a security officer's session can it be marked as trusted, which MAC keys made here ask
 * for.
 */
export function makeWrappingKey(
  session: TokenSession,
  place: NewPlace,
  trusted: boolean,
  secret?: Uint8Array,
): AttributeEvidence[] {
  const attributes = {
    ...WRAPPING_OBJECT,
    ...WRAPPING_KEY,
    CKA_PRIVATE: !trusted,
    ...(trusted && { CKA_TRUSTED: true }),
  };
  const rules = { ...WRAPPING_KEY_RULES, CKA_TRUSTED: trusted || null };
  if (!secret) return generate(session, place, CK.aesKeyGen, attributes, rules);
  const template = { ...attributes, CKA_LABEL: place.label, CKA_ID: place.id, CKA_VALUE: secret };
  const key = createObject(session, template);
  return readBackOrDestroy(session, key, rules);
}

/** Attributes of a wrapping key in the token, as they stand. */
export function inspectWrappingKey(session: TokenSession, uri: TokenUri): AttributeEvidence[] {
  return readBack(session, locate(session, uri, WRAPPING_OBJECT), WRAPPING_KEY_RULES);
}

/**
 * Check value of a wrapping key that was made in the token and cannot be told apart otherwise: the first 8
 * bytes of the RFC 3394 wrapping of the first 16 bytes of SHA-256("fieldseal check value").
 */
export function wrappingKeyCheckValue(session: TokenSession, uri: TokenUri): Uint8Array {
  return wrapSecret(session, uri, sha256(CHECK_VALUE_MESSAGE).slice(0, 16)).slice(0, CHECK_VALUE_LENGTH);
}

/**
 * The MAC key of one URI, wrapped under the wrapping key of the other (RFC 3394, CKM_AES_KEY_WRAP): 40 bytes.
 */
export function wrapInside(session: TokenSession, macKey: TokenUri, wrappingKey: TokenUri): Uint8Array {
  const key = locate(session, macKey, MAC_OBJECT);
  const length = readNumber(session, key, 'CKA_VALUE_LEN') ?? KEY_LENGTH;
  return wrapHandle(session, locate(session, wrappingKey, WRAPPING_OBJECT), key, length);
}

/**
 * Secret bytes wrapped under a wrapping key in the token; they are in the token only for the length of the
 * call.
 */
export function wrapSecret(session: TokenSession, wrappingKey: TokenUri, secret: Uint8Array): Uint8Array {
  const kek = locate(session, wrappingKey, WRAPPING_OBJECT);
  const key = createObject(session, {
    ...MAC_OBJECT,
    CKA_TOKEN: false,
    CKA_PRIVATE: true,
    CKA_SENSITIVE: true,
    CKA_EXTRACTABLE: true,
    CKA_VALUE: secret,
  });
  try {
    return wrapHandle(session, kek, key, secret.length);
  } finally {
    session.attempt((handle) => session.cryptoki.C_DestroyObject(handle, key));
  }
}

function wrapHandle(session: TokenSession, kek: Handle, key: Handle, keyLength: number): Uint8Array {
  const room = Buffer.alloc(keyLength + WRAPPING_GROWTH);
  const wrapped = session.attempt((handle) =>
    session.cryptoki.C_WrapKey(handle, { mechanism: CK.aesKeyWrap }, kek, key, room),
  );
  if (wrapped.length === keyLength + WRAPPING_GROWTH) return new Uint8Array(wrapped);
  throw new KeyError(
    'token-mechanism',
    `The token ${session.label} wrapped a key of ${keyLength} bytes into ${wrapped.length}, which is not RFC 3394.`,
    "Ask the token's maker for CKM_AES_KEY_WRAP without padding, or keep the class key in a file.",
  );
}

function generate(
  session: TokenSession,
  place: NewPlace,
  mechanism: number,
  attributes: Attributes,
  rules: Rules,
  strictest: readonly Attributes[] = [{}],
): AttributeEvidence[] {
  const template = { ...attributes, CKA_VALUE_LEN: KEY_LENGTH, CKA_LABEL: place.label, CKA_ID: place.id };
  const key = session.attempt((handle) =>
    firstTaken(strictest, (extra) =>
      session.cryptoki.C_GenerateKey(handle, { mechanism }, templateOf({ ...template, ...extra })),
    ),
  );
  return readBackOrDestroy(session, key, rules);
}

function createObject(session: TokenSession, template: Attributes): Handle {
  return session.attempt((handle) => session.cryptoki.C_CreateObject(handle, templateOf(template)));
}

function readBackOrDestroy(session: TokenSession, key: Handle, rules: Rules): AttributeEvidence[] {
  const evidence = readBack(session, key, rules);
  try {
    requireStrong(evidence, session.label);
    return evidence;
  } catch (error) {
    session.attempt((handle) => session.cryptoki.C_DestroyObject(handle, key));
    throw error;
  }
}
