/**
 * Token custody: each function opens a session of its own, and closes it unless the key given out needs it.
 */
import { type HssShape, hssShape, hssShapeNames, type PublicKey } from '../../crypto/index.ts';
import type { SigningKeyType } from '../algorithms.ts';
import {
  describeSecretKey,
  describeSigningKey,
  type KeyDescription,
  type KeyNaming,
} from '../description.ts';
import { KeyError } from '../error.ts';
import type { AttributeEvidence, KeyEvidence } from '../evidence.ts';
import { checkValue } from '../fingerprint.ts';
import { TRIAL_MARK } from '../pkcs8.ts';
import type { CustodyMacKey, CustodySigner, KeyAccess, KeyPlace, MadeKey } from '../ports.ts';
import type { PinRequest, SecretSource } from '../secrets.ts';
import { generateHssPair, hssKeysRemaining, openHssPair } from './hss.ts';
import { newPlace } from './locate.ts';
import { loadModule } from './module.ts';
import {
  generateMacKey,
  inspectMacKey,
  inspectWrappingKey,
  makeWrappingKey,
  openTokenMacKey,
  wrapInside,
  wrappingKeyCheckValue,
  wrapSecret,
} from './secret.ts';
import { TokenSession } from './session.ts';
import { generatePair, inspectPair, openPair } from './signing.ts';
import { formatTokenUri, parseTokenUri, type TokenUri } from './uri.ts';

/** Where in which token, and by which module it is reached. */
export type TokenPlace = Omit<Extract<KeyPlace, { custody: 'token' }>, 'custody'>;

/** Purposes whose every signature is a decision of its own, for which the PIN is asked anew. */
const PIN_EACH_TIME: ReadonlySet<KeyNaming['purpose']> = new Set(['root', 'approver']);

interface Opened {
  readonly session: TokenSession;
  readonly uri: TokenUri;
}

/** Makes a signing key in a token and gives it out open. */
export async function createSigningKey(
  naming: KeyNaming,
  place: TokenPlace,
  type: SigningKeyType,
  secrets: SecretSource,
): Promise<MadeKey<CustodySigner>> {
  return keepOpen(place, secrets, async ({ session, uri }) => {
    const spot = newPlace(session, uri, naming.name, naming.trial);
    const { publicKey, attributes } = generatePair(session, spot, type, PIN_EACH_TIME.has(naming.purpose));
    const signer = openPair(session, spot.uri, publicKey);
    return {
      description: describeSigningKey(naming, placeOf(spot.uri), signer),
      key: { ...signer, close: () => session.close() },
      evidence: evidenceOf({ session, uri: spot.uri }, attributes),
    };
  });
}

/** Makes an HSS/LMS key in a token and gives it out open. */
export async function createHssSigner(
  naming: KeyNaming,
  place: TokenPlace,
  shape: HssShape,
  secrets: SecretSource,
): Promise<MadeKey<CustodySigner>> {
  return keepOpen(place, secrets, async ({ session, uri }) => {
    const spot = newPlace(session, uri, naming.name, naming.trial);
    const { publicKey, attributes } = generateHssPair(session, spot, shape);
    const signer = openHssPair(session, spot.uri, publicKey, shape);
    const { facts, ...evidence } = evidenceOf({ session, uri: spot.uri }, attributes);
    const left = hssKeysRemaining(session, spot.uri) ?? 'not told by this token';
    return {
      description: describeSigningKey(naming, { ...placeOf(spot.uri), levels: hssShapeNames(shape) }, signer),
      key: { ...signer, close: () => session.close() },
      evidence: { ...evidence, facts: { ...facts, signatures_left: String(left) } },
    };
  });
}

/** Makes a MAC key in a token and gives it out open. */
export async function createMacKey(
  naming: KeyNaming,
  place: TokenPlace,
  secrets: SecretSource,
): Promise<MadeKey<CustodyMacKey>> {
  return keepOpen(place, secrets, async ({ session, uri }) => {
    const spot = newPlace(session, uri, naming.name, naming.trial);
    const attributes = generateMacKey(session, spot);
    const key = await openTokenMacKey(session, spot.uri);
    return {
      description: describeSecretKey(naming, placeOf(spot.uri), 'HMAC 256/256', key.keyId),
      key: { ...key, close: () => session.close() },
      evidence: evidenceOf({ session, uri: spot.uri }, attributes),
    };
  });
}

/**
 * Makes a station's wrapping key in a token, or brings in `secret`, the one the station has. `trusted`:
 * marked so by the token's security officer, whose PIN is asked for; MAC keys made in tokens leave under no
 * other.
 */
export async function createWrappingKey(
  naming: KeyNaming,
  place: TokenPlace & { readonly trusted: boolean },
  secrets: SecretSource,
  secret?: Uint8Array,
): Promise<Omit<MadeKey<never>, 'key'>> {
  const role = place.trusted ? 'security-officer' : 'user';
  const { spot, evidence } = await during(place, secrets, role, ({ session, uri }) => {
    const spot = newPlace(session, uri, naming.name, naming.trial);
    const attributes = makeWrappingKey(session, spot, place.trusted, secret);
    return { spot, evidence: evidenceOf({ session, uri: spot.uri }, attributes) };
  });
  const check = secret
    ? checkValue(secret)
    : await during(place, secrets, 'user', ({ session }) => wrappingKeyCheckValue(session, spot.uri));
  return { description: describeSecretKey(naming, placeOf(spot.uri), 'A256KW', check), evidence };
}

/** Opens a signing key in a token. `publicKey`: the key on record. */
export function openSigner(
  description: KeyDescription,
  publicKey: PublicKey,
  access: KeyAccess,
): Promise<CustodySigner> {
  const shape = description.levels && hssShape(description.levels);
  return keepOpen(placeOfKey(description, access), access.secrets, async ({ session, uri }) => ({
    ...(shape ? openHssPair(session, uri, publicKey, shape) : openPair(session, uri, publicKey)),
    close: () => session.close(),
  }));
}

/** Opens a MAC key in a token. */
export function openMacKey(description: KeyDescription, access: KeyAccess): Promise<CustodyMacKey> {
  return keepOpen(placeOfKey(description, access), access.secrets, async ({ session, uri }) => ({
    ...(await openTokenMacKey(session, uri)),
    close: () => session.close(),
  }));
}

/** The attributes of a key in a token as they stand now, for records and audits. Throws `KeyError`. */
export function inspectTokenKey(description: KeyDescription, access: KeyAccess): Promise<KeyEvidence> {
  const inspect = {
    root: inspectPair,
    signer: inspectPair,
    approver: inspectPair,
    station: inspectWrappingKey,
  };
  return during(placeOfKey(description, access), access.secrets, 'user', (opened) => {
    const read = inspect[description.purpose as keyof typeof inspect] ?? inspectMacKey;
    return evidenceOf(opened, read(opened.session, opened.uri));
  });
}

/** A MAC key in a token, wrapped under a wrapping key in the same token (RFC 3394). */
export function wrapTokenKey(
  key: KeyDescription,
  station: KeyDescription,
  access: KeyAccess,
): Promise<Uint8Array> {
  const kek = parseTokenUri(placeOfKey(station, access).uri);
  return during(placeOfKey(key, access), access.secrets, 'user', ({ session, uri }) => {
    if (kek.token === uri.token && kek.serial === uri.serial) return wrapInside(session, uri, kek);
    throw new KeyError(
      'key-custody',
      `The keys ${key.name} and ${station.name} are in two different tokens.`,
      "Make or bring the station's wrapping key into the token that holds the key.",
    );
  });
}

/** Secret bytes wrapped under a wrapping key in a token. */
export function wrapUnderTokenKey(
  secret: Uint8Array,
  station: KeyDescription,
  access: KeyAccess,
): Promise<Uint8Array> {
  return during(placeOfKey(station, access), access.secrets, 'user', ({ session, uri }) =>
    wrapSecret(session, uri, secret),
  );
}

/** Whether the key's label in the token bears the trial mark. */
export function isMarkedTrial(description: KeyDescription): boolean {
  return parseTokenUri(description.token?.uri ?? '').object?.includes(TRIAL_MARK) ?? false;
}

async function open(place: TokenPlace, secrets: SecretSource, role: PinRequest['role']): Promise<Opened> {
  const uri = parseTokenUri(place.uri);
  const cryptoki = await loadModule(place.module);
  return { uri, session: await TokenSession.open(cryptoki, { uri, secrets, role }) };
}

async function during<T>(
  place: TokenPlace,
  secrets: SecretSource,
  role: PinRequest['role'],
  work: (opened: Opened) => T | Promise<T>,
): Promise<T> {
  const opened = await open(place, secrets, role);
  try {
    return await work(opened);
  } finally {
    opened.session.close();
  }
}

async function keepOpen<T>(
  place: TokenPlace,
  secrets: SecretSource,
  work: (opened: Opened) => Promise<T>,
): Promise<T> {
  const opened = await open(place, secrets, 'user');
  try {
    return await work(opened);
  } catch (error) {
    opened.session.close();
    throw error;
  }
}

function placeOf(uri: TokenUri): Pick<KeyDescription, 'custody' | 'token'> {
  return { custody: 'token', token: { uri: formatTokenUri(uri) } };
}

function placeOfKey(description: KeyDescription, access: KeyAccess): TokenPlace {
  return { uri: description.token?.uri ?? '', module: access.module };
}

function evidenceOf({ session, uri }: Opened, attributes: readonly AttributeEvidence[]): KeyEvidence {
  return { custody: 'token', facts: { uri: formatTokenUri(uri), ...session.facts() }, attributes };
}
