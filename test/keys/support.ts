/** Helpers of this room's tests. Every key made here is a test key. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll } from 'vitest';
import { createSecretSource, KeyError, type KeyErrorCode, type SecretSource } from '../../src/keys/index.ts';

export const PASSPHRASE = 'test passphrase: not for use';
export const CREATED = new Date('2026-11-25T09:00:00Z');

/** A folder that goes away after the suite. */
export function scratch(): string {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-keys-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

/** Secrets as an unattended command has them: from the environment, no terminal. */
export function unattended(environment: Record<string, string>, production = false): SecretSource {
  return createSecretSource({
    production,
    environment,
    terminal: { interactive: false, askHidden: noTerminal },
  });
}

export const withPassphrase = (passphrase = PASSPHRASE, production = false) =>
  unattended({ FIELDSEAL_PASSPHRASE: passphrase, FIELDSEAL_ROOT_PASSPHRASE: passphrase }, production);

/** The error that `work` must end in. */
export async function failureOf(work: () => unknown): Promise<KeyError> {
  try {
    await work();
  } catch (error) {
    if (error instanceof KeyError) return error;
    throw error;
  }
  throw new Error('expected a KeyError, but it succeeded');
}

export async function codeOf(work: () => unknown): Promise<KeyErrorCode> {
  return (await failureOf(work)).code;
}

function noTerminal(): never {
  throw new Error('asked at a terminal that is not there');
}
