import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { build } from 'esbuild';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import {
  addClass,
  initWorkspace,
  listRecords,
  openWorkspace,
  readClass,
  takeNumber,
  verifyLedger,
  writeRecord,
} from '../../src/workspace/index.ts';

const ROUNDS = 12;
const AT_ONCE = 3;
let folder = '';

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'fieldseal-kill-'));
  await build({
    entryPoints: ['test/workspace/killed-worker.ts'],
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

/** Starts a worker, lets it take numbers, and kills it at a moment it does not choose. Gives the numbers it took. */
async function runAndKill(root: string): Promise<string[]> {
  const child: ChildProcess = spawn(process.execPath, [join(folder, 'worker.mjs'), root], {
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let out = '';
  let err = '';
  child.stdout!.on('data', (text) => (out += text));
  child.stderr!.on('data', (text) => (err += text));
  const ended = new Promise<NodeJS.Signals | null>((resolve) =>
    child.on('close', (_, signal) => resolve(signal)),
  );
  while (out === '' && child.exitCode === null) await wait(2);
  await wait(Math.random() * 40);
  child.kill('SIGKILL');
  expect(await ended, err).toBe('SIGKILL');
  return out.split('\n').slice(0, -1);
}

describe('kill -9 at any moment, several processes at once', () => {
  test('no number is given twice, the ledger verifies, and every entry has its record', async () => {
    const { root } = initWorkspace(join(folder, 'greenhouse'), { vendorDomain: 'hollinridge.example' });
    const workspace = await openWorkspace(root);
    await addClass(workspace, { name: 'vent', model: 'VC-2', scheme: 'asymmetric' });
    const given: string[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      const taken = await Promise.all(Array.from({ length: AT_ONCE }, () => runAndKill(root)));
      given.push(...taken.flat());
      expect(verifyLedger(workspace).findings).toEqual([]);
    }
    expect(given.length).toBeGreaterThan(ROUNDS * AT_ONCE);
    expect(new Set(given).size).toBe(given.length);
    const next = takeNumber(workspace, await readClass(workspace, 'vent')).number;
    for (const number of given) expect(next > BigInt(number)).toBe(true);
    writeRecord(workspace, {
      folder: 'ceremonies',
      name: ['last'],
      kind: 'noted',
      facts: { format: 'note/1' },
      summary: {},
    });
    const { intact, entries, records } = verifyLedger(workspace);
    expect(intact).toBe(true);
    // Making the workspace, adding the class and starting its counter leave no record; every other entry has one.
    expect(records).toBe(entries - 3);
    expect(listRecords(workspace, 'releases').length).toBe(records - 1);
  });
});
