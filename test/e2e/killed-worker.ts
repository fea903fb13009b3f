import { spawn } from 'node:child_process';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { build } from 'esbuild';
import { expect } from 'vitest';

/** Bundles a worker's entry into `folder`. Gives the file to run. */
export async function buildWorker(entry: string, folder: string): Promise<string> {
  const outfile = join(folder, 'worker.mjs');
  await build({
    entryPoints: [entry],
    outfile,
    bundle: true,
    platform: 'node',
    format: 'esm',
    external: ['better-sqlite3', 'pg-native', 'pkcs11js'],
    banner: {
      js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
    },
    logLevel: 'error',
  });
  return outfile;
}

/**
 * Runs a worker until it has told `lines` lines, however slow it is, then kills it at a moment it does not choose, at most
 * `withinMs` later. Gives the whole lines that it told.
 */
export async function runAndKill(
  worker: string,
  args: readonly string[],
  withinMs: number,
  { lines = 1, environment = process.env }: { lines?: number; environment?: NodeJS.ProcessEnv } = {},
): Promise<string[]> {
  const child = spawn(process.execPath, [worker, ...args], {
    stdio: ['ignore', 'pipe', 'pipe'],
    env: environment,
  });
  let told = '';
  let faults = '';
  child.stdout.on('data', (text) => (told += text));
  child.stderr.on('data', (text) => (faults += text));
  const ended = new Promise<NodeJS.Signals | null>((resolve) =>
    child.on('close', (_, signal) => resolve(signal)),
  );
  const isRunning = () => child.exitCode === null && child.signalCode === null;
  while (told.split('\n').length <= lines && isRunning()) await wait(2);
  await wait(Math.random() * withinMs);
  child.kill('SIGKILL');
  expect(await ended, faults).toBe('SIGKILL');
  return told.split('\n').slice(0, -1);
}
