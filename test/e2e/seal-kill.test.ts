import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { seal } from '../../src/release/index.ts';
import { manifestDigestMatches, openEnvelope, readManifest } from '../../src/suit/index.ts';
import { readRecord, verifyLedger } from '../../src/workspace/index.ts';
import { firmware, prepared, request } from '../release/setup.ts';
import { buildWorker, runAndKill } from './killed-worker.ts';

const ROUNDS = 15;
let folder = '';
let worker = '';

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'fieldseal-seal-kill-'));
  worker = await buildWorker('test/release/sealing-worker.ts', folder);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('kill -9 while sealing', () => {
  test('the payload at its place is always whole and on record, no number comes twice, and the ledger verifies', async () => {
    const at = await prepared();
    writeFileSync(at.image, firmware(200_000, 6));
    const out = join(at.folder, 'vent.suit');
    const told: string[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      told.push(...(await runAndKill(worker, [at.workspace.root, at.image, out], 300)));
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
