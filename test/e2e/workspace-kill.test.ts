import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
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
import { buildWorker, runAndKill } from './killed-worker.ts';

const ROUNDS = 12;
const AT_ONCE = 3;
let folder = '';
let worker = '';

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'fieldseal-kill-'));
  worker = await buildWorker('test/workspace/killed-worker.ts', folder);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('kill -9 at any moment, several processes at once', () => {
  test('no number is given twice, the ledger verifies, and every entry has its record', async () => {
    const { root } = initWorkspace(join(folder, 'greenhouse'), { vendorDomain: 'hollinridge.example' });
    const workspace = await openWorkspace(root);
    await addClass(workspace, { name: 'vent', model: 'VC-2', scheme: 'asymmetric' });
    const given: string[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      // One of them goes on until it has written a record between two numbers.
      const all = Array.from({ length: AT_ONCE }, (_, nth) =>
        runAndKill(worker, [root], 40, { lines: nth === 0 ? 2 : 1 }),
      );
      const taken = await Promise.all(all);
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
