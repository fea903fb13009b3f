import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { sourceOf } from '../../src/bytes/index.ts';
import { listRequests, openRequest, sealApproved } from '../../src/release/index.ts';
import { openEnvelope, readManifest } from '../../src/suit/index.ts';
import { isSpent, readLedger, verifyLedger } from '../../src/workspace/index.ts';
import { people } from '../release/approvals.ts';
import { firmware, secrets } from '../release/setup.ts';
import { buildWorker, runAndKill } from './killed-worker.ts';

const ROUNDS = 10;
let folder = '';
let worker = '';

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'fieldseal-approval-kill-'));
  worker = await buildWorker('test/release/approved-worker.ts', folder);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('kill -9 while asking, approving and sealing', () => {
  test('every request is whole, each is sealed at most once and only by approval, and one broken off is not sealed again', async () => {
    const at = await people();
    writeFileSync(at.image, firmware(200_000, 6));
    const out = join(at.folder, 'vent.suit');
    const told: string[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      told.push(...(await runAndKill(worker, [at.workspace.root, at.image, out], 900)));
      expect(verifyLedger(at.workspace).findings).toEqual([]);
      const envelope = openEnvelope(sourceOf(readFileSync(out)));
      const { sequenceNumber } = readManifest(envelope.manifest, { severed: envelope.severed });
      const opened = await openRequest(at.workspace, `vent/${sequenceNumber}`);
      expect(Buffer.from(envelope.manifest).equals(opened.frozen.manifest)).toBe(true);
    }
    expect(new Set(told).size).toBe(told.length);
    const sealed = readLedger(at.workspace).filter(({ kind }) => kind === 'sealed');
    const numbers = sealed.map(({ facts }) => String(facts.sequence_number));
    expect(new Set(numbers).size).toBe(numbers.length);
    for (const { facts } of sealed) expect(facts.approved_by).toEqual(['Bela Marsh']);
    for (const request of listRequests(at.workspace)) {
      const { frozen } = await openRequest(at.workspace, request);
      if (!isSpent(at.workspace, 'vent', frozen.sequenceNumber)) continue;
      const again = { workspace: at.workspace, secrets, images: [{ path: at.image }], out, force: true };
      await expect(sealApproved({ ...again, request })).rejects.toMatchObject({ code: 'request-used' });
    }
  });
});
