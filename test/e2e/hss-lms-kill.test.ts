/** RFC 8554 section 9.2: no one-time leaf signs twice, also when processes race and are killed while they sign. */
import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { parseHssShape } from '../../src/crypto/index.ts';
import { createHssSigner, createSecretSource } from '../../src/keys/index.ts';
import { addKey, initWorkspace, keyPaths, openLeaves, startLeaves } from '../../src/workspace/index.ts';
import { buildWorker, runAndKill } from './killed-worker.ts';

const ROUNDS = 8;
const AT_ONCE = 2;
const PASSPHRASE = 'test passphrase: not for use';
const environment = { ...process.env, FIELDSEAL_PASSPHRASE: PASSPHRASE };
let folder = '';
let worker = '';

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'fieldseal-hss-kill-'));
  worker = await buildWorker('test/workspace/signing-worker.ts', folder);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

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
      const taken = Array.from({ length: AT_ONCE }, (_, nth) =>
        runAndKill(worker, [workspace.root, 'line-q'], 100, { lines: nth + 1, environment }),
      );
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
