import { randomInt } from 'node:crypto';
import { fromHex } from '../bytes/index.ts';
import type { KeyUnwrapper } from '../cose/index.ts';
import { openUnitKey, openUnitSecret, type SecretSource } from '../keys/index.ts';
import {
  type Cut,
  type EmulatedFlash,
  type Flash,
  openUnit,
  openUnitFile,
  type Store,
  type Unit,
  type UnitFile,
  type UnitSecret,
  unwrappersOf,
  usesOwnKey,
} from '../unit/index.ts';

/** A virtual unit under power. */
export interface PoweredUnit {
  readonly file: UnitFile;
  readonly unit: Unit;
  readonly flash: EmulatedFlash;
  /** The keys that it shares with its class, by id. */
  readonly macKeys: ReadonlyMap<string, Uint8Array>;
}

export interface PowerOptions {
  /** Where the passphrases of a unit's secrets come from; only a production unit has any. */
  secretsFor(production: boolean): SecretSource;
  /** When the power goes. */
  readonly cut?: Cut | undefined;
  /** Stands between the unit and its flash, to watch what it does. */
  watch?(flash: Flash): Flash;
}

const NOISE_RANGE = 2 ** 32;

/** How marginal flash bits read: by chance. */
export const noise = () => randomInt(NOISE_RANGE) / NOISE_RANGE;

/** Puts a unit file under power. Throws `UnitFileError` where it is none; `KeyError`. */
export async function powerUp(store: Store, options: PowerOptions): Promise<PoweredUnit> {
  const { cut, watch = (flash) => flash } = options;
  const file = openUnitFile(store);
  const { record, memory } = file;
  const secrets = options.secretsFor(!record.trial);
  const flash = file.flash({ noise, cut });
  const macKeys = await macKeysOf(file, secrets);
  const unit = openUnit({
    record,
    macKeys,
    unwrappers: await unwrappersFor(file, secrets),
    marksKey: await openSecret(file.marksKey, 'unit marks key', secrets),
    flash: watch(flash),
    recovery: file.recoveryImage,
    memory,
  });
  return { file, unit, flash, macKeys };
}

async function macKeysOf({ record }: UnitFile, secrets: SecretSource): Promise<Map<string, Uint8Array>> {
  const keys = new Map<string, Uint8Array>();
  for (const { id, label, secret } of record.mac_keys) keys.set(id, await openSecret(secret, label, secrets));
  return keys;
}

/** Keys that open encrypted images, as far as the profile of the unit uses them. */
async function unwrappersFor({ record }: UnitFile, secrets: SecretSource): Promise<KeyUnwrapper[]> {
  const contentKeys = new Map<string, Uint8Array>();
  for (const { id, label, secret } of record.content_keys ?? [])
    contentKeys.set(id, await openSecret(secret, label, secrets));
  const own = usesOwnKey(record) && record.unit_keys.find(({ purpose }) => purpose === 'decryption');
  const decryptionKey = own ? await openPrivateKey(own.secret, secrets) : undefined;
  return unwrappersOf(record, { contentKeys, decryptionKey });
}

async function openPrivateKey(secret: UnitSecret, secrets: SecretSource): Promise<Uint8Array> {
  if ('trial_hex' in secret) return fromHex(secret.trial_hex);
  return openUnitKey(secret.pem, 'unit decryption key', secrets);
}

async function openSecret(secret: UnitSecret, name: string, secrets: SecretSource): Promise<Uint8Array> {
  return 'trial_hex' in secret ? fromHex(secret.trial_hex) : openUnitSecret(secret.pem, name, secrets);
}
