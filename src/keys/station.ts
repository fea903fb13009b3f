/** Production stations: their wrapping keys, and class keys wrapped for them (RFC 3394). */
import { fromHex, toHex } from '../bytes/index.ts';
import { randomBytes } from '../crypto/index.ts';
import { requireProductionKey } from './admission.ts';
import { withDescribedSecret, withMacSecret } from './custody.ts';
import { describeSecretKey, type KeyDescription } from './description.ts';
import { KeyError } from './error.ts';
import { saveSecretKey } from './file-custody.ts';
import { checkValue } from './fingerprint.ts';
import type { KeyAccess, MadeKey, NewKey } from './ports.ts';
import { type SecretSource, withSecret } from './secrets.ts';
import { SECRET_KEY_LENGTH } from './software.ts';
import * as token from './token/custody.ts';
import { unwrapKey, wrapKey } from './wrap.ts';

/** A class or cohort key as it travels to a station. Hexadecimal; `check_value` is the wrapped key's. */
export interface WrappedKey {
  readonly algorithm: 'A256KW';
  readonly wrapped: string;
  readonly check_value: string;
  readonly wrapping_key: { readonly name: string; readonly check_value: string };
}

/** A station's wrapping key to be made. */
export interface NewWrappingKey extends NewKey {
  readonly purpose: 'station';
  /**
   * In a token: marked as trusted by its security officer. Default true: MAC keys made in tokens leave under
   * no other.
   */
  readonly trusted?: boolean;
  /** The key that the station has already, 32 bytes; without it a new one is made. */
  readonly secret?: Uint8Array;
}

/** Makes a station's wrapping key (AES-256), or takes in the one it has. Throws `KeyError`. */
export async function createWrappingKey(
  request: NewWrappingKey,
  secrets: SecretSource,
): Promise<Omit<MadeKey<never>, 'key'>> {
  const { place, trial, trusted = true } = request;
  if (request.secret) requireWrappingSecret(request, request.secret);
  if (place.custody === 'token') {
    return token.createWrappingKey(request, { ...place, trusted }, secrets, request.secret);
  }
  const secret = request.secret ? new Uint8Array(request.secret) : randomBytes(SECRET_KEY_LENGTH);
  try {
    const file = { path: place.path, keyName: request.name, purpose: 'working' } as const;
    const evidence = await saveSecretKey(file, 'wrap', secret, trial, secrets);
    const check = checkValue(secret);
    return { description: describeSecretKey(request, { custody: 'file' }, 'A256KW', check), evidence };
  } finally {
    secret.fill(0);
  }
}

/**
 * Wraps a class or cohort key for a station. From a token it leaves only so, and only under a wrapping key in
 * the same token. Throws `KeyError`, wrap-untrusted where the token wants the wrapping key marked as trusted.
 */
export async function wrapMacKey(
  key: KeyDescription,
  keyAccess: KeyAccess,
  station: KeyDescription,
  stationAccess: KeyAccess,
): Promise<WrappedKey> {
  const wrapped = await wrap(key, keyAccess, station, stationAccess);
  return {
    algorithm: 'A256KW',
    wrapped: toHex(wrapped),
    check_value: key.fingerprint,
    wrapping_key: { name: station.name, check_value: station.fingerprint },
  };
}

/**
 * What a station does on arrival: takes the key out of its wrapping and lends it to `use`; it is zeroed
 * afterwards. Throws `KeyError` wrap-changed, key-differs where the key's check value is not the announced
 * one.
 */
export function withUnwrappedKey<T>(
  wrapped: WrappedKey,
  station: KeyDescription,
  stationAccess: KeyAccess,
  use: (secret: Uint8Array) => T | Promise<T>,
): Promise<T> {
  return withWrappingSecret(station, stationAccess, (kek) =>
    withSecret(Promise.resolve(unwrapKey(kek, fromHex(wrapped.wrapped))), (secret) => {
      if (toHex(checkValue(secret)) !== wrapped.check_value) throw otherKey(station.name);
      return use(secret);
    }),
  );
}

async function wrap(
  key: KeyDescription,
  keyAccess: KeyAccess,
  station: KeyDescription,
  stationAccess: KeyAccess,
): Promise<Uint8Array> {
  if (key.custody === 'token') {
    if (station.custody === 'token') return token.wrapTokenKey(key, station, keyAccess);
    throw new KeyError(
      'key-custody',
      `The key ${key.name} leaves its token only under a wrapping key in the same token; ${station.name} is in a file.`,
      'Make the station key in that token (fieldseal station-key create NAME --token URI, marked as trusted by its security officer) and name it with --station.',
    );
  }
  return withMacSecret(key, keyAccess, (secret) => wrapSecretFor(station, stationAccess, secret));
}

/** Wraps the bytes of a key under a station's key, wherever that is. */
export function wrapSecretFor(
  station: KeyDescription,
  access: KeyAccess,
  secret: Uint8Array,
): Promise<Uint8Array> {
  return station.custody === 'token'
    ? token.wrapUnderTokenKey(secret, station, access)
    : withWrappingSecret(station, access, (kek) => wrapKey(kek, secret));
}

function withWrappingSecret<T>(
  station: KeyDescription,
  access: KeyAccess,
  use: (kek: Uint8Array) => T | Promise<T>,
): Promise<T> {
  return withDescribedSecret(station, access, 'wrap', checkValue, use);
}

function requireWrappingSecret({ name, trial }: NewWrappingKey, secret: Uint8Array): void {
  if (secret.length !== SECRET_KEY_LENGTH) {
    throw new KeyError(
      'wrap-input',
      `A station's wrapping key has ${SECRET_KEY_LENGTH} bytes; this one has ${secret.length}.`,
      'Give an AES-256 key.',
    );
  }
  if (!trial) requireProductionKey({ name, trial, checkValue: checkValue(secret) });
}

function otherKey(station: string): KeyError {
  return new KeyError(
    'key-differs',
    `The key that came wrapped for ${station} is not the one that was announced.`,
    'Have it wrapped again, and compare the check values on both sides.',
  );
}
