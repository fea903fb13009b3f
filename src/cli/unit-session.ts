import { randomInt } from 'node:crypto';
import { fromHex } from '../bytes/index.ts';
import type { KeyUnwrapper } from '../cose/index.ts';
import { openUnitKey, openUnitSecret, type SecretSource } from '../keys/index.ts';
import {
  type Cut,
  type CutKind,
  type EmulatedFlash,
  openUnit,
  openUnitFile,
  type Unit,
  type UnitFile,
  UnitFileError,
  type UnitSecret,
  unwrappersOf,
  usesOwnKey,
} from '../unit/index.ts';
import { type FileStore, openFileStore } from '../workspace/index.ts';
import { CommandFailure, EXIT } from './exit.ts';
import { secretsFor } from './session.ts';
import type { Call } from './spec.ts';

/** A virtual unit under power. */
export interface UnitSession {
  readonly file: UnitFile;
  readonly unit: Unit;
  readonly flash: EmulatedFlash;
  /** The keys that it shares with its class, by id. */
  readonly macKeys: ReadonlyMap<string, Uint8Array>;
  /** Makes everything durable and lets the file go. */
  close(): void;
}

const NOISE_RANGE = 2 ** 32;

/** How marginal flash bits read: by chance. */
export const noise = () => randomInt(NOISE_RANGE) / NOISE_RANGE;

/** Puts a unit file under power. Needs no workspace; a production unit's secrets need their passphrase. */
export function openUnitSession(call: Call, path: string, cut?: Cut): Promise<UnitSession> {
  return openSessionOver(call, path, openFileStore(path), cut);
}

/** The same for what changes nothing, so that it works where nothing can be written. */
export function readUnitSession(call: Call, path: string): Promise<UnitSession> {
  return openSessionOver(call, path, openFileStore(path, 'read'), undefined);
}

async function openSessionOver(
  call: Call,
  path: string,
  store: FileStore,
  cut: Cut | undefined,
): Promise<UnitSession> {
  try {
    const file = openUnitFile(store);
    const { record, memory } = file;
    const secrets = secretsFor(call, !record.trial);
    const flash = file.flash({ noise, cut });
    const macKeys = await macKeysOf(file, secrets);
    const unit = openUnit({
      record,
      macKeys,
      unwrappers: await unwrappersFor(file, secrets),
      marksKey: await openSecret(file.marksKey, 'unit marks key', secrets),
      flash,
      recovery: file.recoveryImage,
      memory,
    });
    return { file, unit, flash, macKeys, close: () => closeStore(store) };
  } catch (error) {
    store.close();
    throw error instanceof UnitFileError ? unusable(path, error) : error;
  }
}

function unusable(path: string, { code, message }: UnitFileError): CommandFailure {
  return new CommandFailure(EXIT.notDone, code, `${path} cannot be used as a unit: ${message}`);
}

/** The power cut that --cut-after and --cut-kind schedule. */
export function cutOf(call: Call): Cut | undefined {
  const after = call.count('cut-after');
  if (after === undefined) return undefined;
  return { after, kind: (call.text('cut-kind') as CutKind | undefined) ?? 'middle' };
}

function closeStore(store: FileStore): void {
  store.flush();
  store.close();
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
