/** Key-encryption keys of a class or cohort: content keys of encrypted images go out wrapped under them. Never a MAC key. */
import { fromHex, toHex } from '../bytes/index.ts';
import { heldWrappingKey, type WrapRecipient } from '../cose/index.ts';
import { randomBytes } from '../crypto/index.ts';
import { withDescribedSecret } from './custody.ts';
import { describeSecretKey, type KeyDescription, type KeyNaming } from './description.ts';
import { KeyError } from './error.ts';
import type { KeyEvidence } from './evidence.ts';
import { saveSecretKey } from './file-custody.ts';
import { checkValue } from './fingerprint.ts';
import type { KeyAccess } from './ports.ts';
import type { SecretSource } from './secrets.ts';
import { type WrappedKey, wrapSecretFor } from './station.ts';

/** Key wrap algorithms of content keys, with the length of their keys in bytes. */
const LENGTHS = { A128KW: 16, A256KW: 32 } as const;
export type ContentKeyAlgorithm = keyof typeof LENGTHS;

/** A key-encryption key to be made, in an encrypted file. */
export interface NewContentKey extends KeyNaming {
  readonly purpose: 'content';
  readonly algorithm: ContentKeyAlgorithm;
  /** The file to make. */
  readonly path: string;
}

/** Makes a key-encryption key of random bytes. Throws `KeyError`; nothing is left behind then. */
export async function createContentKey(
  request: NewContentKey,
  secrets: SecretSource,
): Promise<{ readonly description: KeyDescription; readonly evidence: KeyEvidence }> {
  const { algorithm, path, trial, name } = request;
  const secret = randomBytes(LENGTHS[algorithm]);
  try {
    const file = { path, keyName: name, purpose: 'working' } as const;
    const evidence = await saveSecretKey(file, kindOf(algorithm), secret, trial, secrets);
    const description = describeSecretKey(request, { custody: 'file' }, algorithm, checkValue(secret));
    return { description, evidence };
  } finally {
    secret.fill(0);
  }
}

/** A recipient whose units hold a key-encryption key; `close` overwrites it. */
export interface CustodyRecipient extends WrapRecipient {
  close(): void;
}

/** Opens a key-encryption key to send content keys under it. Throws `KeyError`. */
export function openContentKey(description: KeyDescription, access: KeyAccess): Promise<CustodyRecipient> {
  return withContentSecret(description, access, (secret) => {
    const kek = new Uint8Array(secret);
    const held = heldWrappingKey(kek, fromHex(description.fingerprint));
    let open = true;
    return {
      ...held,
      // An overwritten key would wrap all the same, and anybody could open that.
      wrap: (contentKey) => (open ? held.wrap(contentKey) : Promise.reject(closed(description.name))),
      close() {
        open = false;
        kek.fill(0);
      },
    };
  });
}

/** Wraps a key-encryption key for a station, which puts it into units. Throws `KeyError`. */
export async function wrapContentKey(
  key: KeyDescription,
  keyAccess: KeyAccess,
  station: KeyDescription,
  stationAccess: KeyAccess,
): Promise<WrappedKey> {
  const wrapped = await withContentSecret(key, keyAccess, (secret) =>
    wrapSecretFor(station, stationAccess, secret),
  );
  return {
    algorithm: 'A256KW',
    wrapped: toHex(wrapped),
    check_value: key.fingerprint,
    wrapping_key: { name: station.name, check_value: station.fingerprint },
  };
}

function withContentSecret<T>(
  description: KeyDescription,
  access: KeyAccess,
  use: (secret: Uint8Array) => T | Promise<T>,
): Promise<T> {
  const { purpose, algorithm, name } = description;
  if (purpose === 'content' && (algorithm === 'A128KW' || algorithm === 'A256KW')) {
    return withDescribedSecret(description, access, kindOf(algorithm), checkValue, use);
  }
  throw new KeyError(
    'key-purpose',
    `The key ${name} is a ${purpose} key; content is wanted here.`,
    'Name a key that was made for this purpose: a key serves one purpose only.',
  );
}

function closed(name: string): TypeError {
  return new TypeError(`the key ${name} is closed: open it again`);
}

function kindOf(algorithm: ContentKeyAlgorithm): 'wrap' | 'wrap-128' {
  return algorithm === 'A128KW' ? 'wrap-128' : 'wrap';
}
