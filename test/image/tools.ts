import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type ByteSource, sourceOf } from '../../src/bytes/index.ts';

/** Whether everything named is installed: programs by name, files by path. Where CI is set, absence is an error. */
export function present(...needed: string[]): boolean {
  const missing = needed.filter((name) => !(name.includes('/') ? existsSync(name) : isProgram(name)));
  if (missing.length === 0) return true;
  const message = `not installed here: ${missing.join(', ')}`;
  if (process.env.CI) throw new Error(message);
  console.warn(`SKIPPED, ${message}`);
  return false;
}

function isProgram(name: string): boolean {
  return (process.env.PATH ?? '').split(':').some((folder) => existsSync(join(folder, name)));
}

/** Files of a Debian package whose path matches; none where the package is not installed. */
export function packageFiles(name: string, pattern: RegExp): string[] {
  try {
    return outputOf('dpkg', '-L', name)
      .split('\n')
      .filter((path) => pattern.test(path) && existsSync(path));
  } catch {
    return [];
  }
}

/** What a program prints; fails the test where the program fails. */
export function outputOf(program: string, ...args: string[]): string {
  return execFileSync(program, args, { encoding: 'utf8', stdio: 'pipe' });
}

/** Runs a program with more in its environment, and fails the test where it fails. */
export function run(program: string, args: string[], environment: Record<string, string> = {}): void {
  execFileSync(program, args, { stdio: 'pipe', env: { ...process.env, ...environment } });
}

/** A whole file as a source. */
export function fileSource(path: string): ByteSource {
  return sourceOf(fileBytes(path));
}

/** A whole file. */
export function fileBytes(path: string): Uint8Array {
  return new Uint8Array(readFileSync(path));
}

/** A folder for the duration of `use`. */
export function inFolder<T>(use: (folder: string) => T): T {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-image-'));
  try {
    return use(folder);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
