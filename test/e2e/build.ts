import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/** Builds the command once before the end-to-end suites, and makes the folder that theirs lie in. Gives its removal. */
export function setup(): () => void {
  execFileSync('node', ['scripts/build.mjs'], { stdio: 'inherit' });
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-e2e-'));
  process.env.FIELDSEAL_E2E = folder;
  return () => rmSync(folder, { recursive: true, force: true });
}
