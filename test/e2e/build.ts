import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/**
 * Builds the command once for all suites that run it, before any of them begins: a build takes away what another suite is running.
 * Makes the folder that theirs lie in, and gives its removal.
 */
export function setup(): (() => void) | undefined {
  if (process.env.FIELDSEAL_E2E !== undefined) return undefined;
  execFileSync('node', ['scripts/build.mjs'], { stdio: 'inherit' });
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-e2e-'));
  process.env.FIELDSEAL_E2E = folder;
  return () => rmSync(folder, { recursive: true, force: true });
}
