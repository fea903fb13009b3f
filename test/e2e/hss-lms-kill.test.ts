/** RFC 8554 section 9.2: no one-time leaf signs twice, also when processes race and are killed while they sign. */
import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { build } from 'esbuild';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { parseHssShape } from '../../src/crypto/index.ts';
import { createHssSigner, createSecretSource } from '../../src/keys/index.ts';
import { addKey, initWorkspace, keyPaths, openLeaves, startLeaves } from '../../src/workspace/index.ts';

const ROUNDS = 8;
const AT_ONCE = 2;
const PASSPHRASE = 'test passphrase: not for use';
let folder = '';

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'fieldseal-hss-kill-'));
  await build({
    entryPoints: ['test/workspace/signing-worker.ts'],
    outfile: join(folder, 'worker.mjs'),
    bundle: true,
    platform: 'node',
    format: 'esm',
    external: ['pkcs11js'],
    banner: {
      js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
    },
    logLevel: 'error',
  });
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Starts a signer, lets it sign, and kills it at a moment it does not choose. Gives the leaves it told. */
async function signAndKill(root: string, name: string): Promise<string[]> {
  const child: ChildProcess = spawn(process.execPath, [join(folder, 'worker.mjs'), root, name], {
    stdio: ['ignore', 'pipe', 'pipe'],
    env: { ...process.env, FIELDSEAL_PASSPHRASE: PASSPHRASE },
  });
  let out = '';
  let err = '';
  child.stdout!.on('data', (text) => (out += text));
  child.stderr!.on('data', (text) => (err += text));
  const ended = new Promise<NodeJS.Signals | null>((resolve) =>
    child.on('close', (_, signal) => resolve(signal)),
  );
  while (out === '' && child.exitCode === null) await wait(2);
  await wait(Math.random() * 100);
  child.kill('SIGKILL');
  expect(await ended, err).toBe('SIGKILL');
  return out.split('\n').slice(0, -1);
}

describe('kill -9 while signing, two processes at once', () => {
  test('no leaf comes twice, and the next one is above them all', async () => {
    const workspace = initWorkspace(join(folder, 'greenhouse'), { vendorDomain: 'hollinridge.example' });
    const made = await createHssSigner(
      {
        ...{ name: 'line-q', purpose: 'signer', trial: true, created: new Date() },
        place: { custody: 'file', path: keyPaths(workspace, 'line-q').secret },
        shape: parseHssShape('H10/W1,H5/W1')!,
        startLeaves: (description) => startLeaves(workspace, description),
      },
      createSecretSource({ production: false, environment: { FIELDSEAL_PASSPHRASE: PASSPHRASE } }),
    );
    made.key.close();
    addKey(workspace, made.description);
    const told: string[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      const taken = Array.from({ length: AT_ONCE }, () => signAndKill(workspace.root, 'line-q'));
      told.push(...(await Promise.all(taken)).flat());
    }
    expect(told.length).toBeGreaterThan(ROUNDS * AT_ONCE);
    expect(new Set(told).size).toBe(told.length);
    const next = openLeaves(workspace, made.description).take();
    for (const leaf of told) expect(next > BigInt(leaf)).toBe(true);
    const marks = readdirSync(workspace.path('private', 'leaves', 'line-q', 'spent'));
    expect(marks.length).toBeGreaterThan(told.length);
  });
});
