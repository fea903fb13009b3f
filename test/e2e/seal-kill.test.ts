import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { build } from 'esbuild';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { seal } from '../../src/release/index.ts';
import { manifestDigestMatches, openEnvelope, readManifest } from '../../src/suit/index.ts';
import { readRecord, verifyLedger } from '../../src/workspace/index.ts';
import { firmware, prepared, request } from '../release/setup.ts';

const ROUNDS = 15;
let folder = '';

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'fieldseal-seal-kill-'));
  await build({
    entryPoints: ['test/release/sealing-worker.ts'],
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

async function sealAndKill(root: string, image: string, out: string): Promise<string[]> {
  const child = spawn(process.execPath, [join(folder, 'worker.mjs'), root, image, out]);
  let told = '';
  let faults = '';
  child.stdout.on('data', (text) => (told += text));
  child.stderr.on('data', (text) => (faults += text));
  const ended = new Promise<NodeJS.Signals | null>((resolve) =>
    child.on('close', (_, signal) => resolve(signal)),
  );
  while (told === '' && child.exitCode === null) await wait(2);
  await wait(Math.random() * 300);
  child.kill('SIGKILL');
  expect(await ended, faults).toBe('SIGKILL');
  return told.split('\n').slice(0, -1);
}

describe('kill -9 while sealing', () => {
  test('the payload at its place is always whole and on record, no number comes twice, and the ledger verifies', async () => {
    const at = await prepared();
    writeFileSync(at.image, firmware(200_000, 6));
    const out = join(at.folder, 'vent.suit');
    const told: string[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      told.push(...(await sealAndKill(at.workspace.root, at.image, out)));
      const envelope = openEnvelope(sourceOf(readFileSync(out)));
      expect(manifestDigestMatches(envelope)).toBe(true);
      const { sequenceNumber } = readManifest(envelope.manifest, { severed: envelope.severed });
      const { facts } = readRecord(at.workspace, 'releases', ['vent', String(sequenceNumber)]);
      expect(facts.manifest_digest).toBe(Buffer.from(envelope.digest.bytes).toString('hex'));
      expect(verifyLedger(at.workspace).findings).toEqual([]);
    }
    expect(new Set(told).size).toBe(told.length);
    await seal(request(at, { force: true }));
    expect(readdirSync(at.folder).sort()).toEqual(['vent.bin', 'vent.suit', 'ws']);
    expect(existsSync(out)).toBe(true);
  });
});
