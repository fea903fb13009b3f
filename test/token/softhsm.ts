/**
 * A real PKCS#11 token in software: SoftHSM2, with a configuration and a token folder of its own that go away
 * afterwards. Where it or the addon is not installed the suites are reported as skipped; in CI that is a
 * failure.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll } from 'vitest';

export const PIN = '1234-test';
export const SO_PIN = '5678-test';

const PLACES = [
  process.env.FIELDSEAL_PKCS11_MODULE ?? '',
  '/usr/lib/softhsm/libsofthsm2.so',
  '/usr/lib/x86_64-linux-gnu/softhsm/libsofthsm2.so',
  '/usr/lib/aarch64-linux-gnu/softhsm/libsofthsm2.so',
  '/usr/lib64/pkcs11/libsofthsm2.so',
  '/usr/local/lib/softhsm/libsofthsm2.so',
  '/opt/homebrew/lib/softhsm/libsofthsm2.so',
];

/** The module's place; empty where there is none. */
export const MODULE = PLACES.find((path) => path !== '' && existsSync(path)) ?? '';

/** Why the suites cannot run here; empty where they can. */
export const MISSING = whatIsMissing();

if (MISSING !== '' && process.env.CI === 'true') throw new Error(`token tests must run in CI: ${MISSING}`);
if (MISSING !== '') console.warn(`token tests are SKIPPED: ${MISSING}`);

/** Makes a folder for tokens and points SoftHSM2 at it. Before the module is loaded, once per test file. */
export function useOwnTokens(): string {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-token-'));
  mkdirSync(join(folder, 'tokens'));
  const configuration = join(folder, 'softhsm2.conf');
  writeFileSync(configuration, `directories.tokendir = ${join(folder, 'tokens')}\nlog.level = ERROR\n`);
  process.env.SOFTHSM2_CONF = configuration;
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

/** Initialises a token with this label. */
export function initToken(label: string): void {
  execFileSync(
    'softhsm2-util',
    ['--init-token', '--free', '--label', label, '--pin', PIN, '--so-pin', SO_PIN],
    { stdio: 'pipe' },
  );
}

function whatIsMissing(): string {
  if (MODULE === '') return 'the SoftHSM2 module is not installed';
  if (spawnSync('softhsm2-util', ['--version']).status !== 0) return 'softhsm2-util is not installed';
  try {
    createRequire(import.meta.url)('pkcs11js');
    return '';
  } catch {
    return 'the optional package pkcs11js is not installed';
  }
}
