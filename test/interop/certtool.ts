/** GnuTLS `certtool` (Debian gnutls-bin) in a folder of its own. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll } from 'vitest';

export const certtoolPresent = spawnSync('certtool', ['--version']).status === 0;

export interface Certtool {
  /** Runs it; `status` is its exit status, `text` all that it said. */
  run(...args: string[]): { status: number | null; text: string };
  /** Runs it and gives what it wrote to standard output; throws where it fails. */
  out(...args: string[]): string;
  path(name: string): string;
  put(name: string, content: string): void;
  read(name: string): string;
}

export function certtoolIn(purpose: string): Certtool {
  const folder = mkdtempSync(join(tmpdir(), `fieldseal-interop-${purpose}-`));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  const spawn = (args: readonly string[]) => spawnSync('certtool', args, { cwd: folder, encoding: 'utf8' });
  return {
    run(...args) {
      const { status, stdout, stderr } = spawn(args);
      return { status, text: stdout + stderr };
    },
    out(...args) {
      const { status, stdout, stderr } = spawn(args);
      if (status !== 0) throw new Error(`certtool ${args.join(' ')}: ${stderr}`);
      return stdout;
    },
    path: (name) => join(folder, name),
    put: (name, content) => writeFileSync(join(folder, name), content),
    read: (name) => readFileSync(join(folder, name), 'utf8'),
  };
}
