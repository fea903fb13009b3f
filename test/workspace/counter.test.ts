import { cpSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import {
  addClass,
  appendEntry,
  claimCounter,
  HIGHEST_NUMBER,
  openWorkspace,
  readClass,
  readCounter,
  readLedger,
  takeNumber,
  type Workspace,
  writeRecord,
} from '../../src/workspace/index.ts';
import { emptyFolder, failure, withVent } from './setup.ts';

/** What `git clone` brings: everything but private/. */
async function cloneOf(workspace: Workspace): Promise<Workspace> {
  const root = join(emptyFolder(), 'clone');
  cpSync(workspace.root, root, {
    recursive: true,
    filter: (path) => !path.startsWith(workspace.path('private')),
  });
  return openWorkspace(root);
}

/** Enters a sealed release in ledger and records, as sealing does. */
function recordRelease(workspace: Workspace, number: bigint): void {
  writeRecord(workspace, {
    folder: 'releases',
    name: ['vent', String(number)],
    kind: 'sealed',
    facts: { format: 'fieldseal.release/1', class: 'vent', sequence_number: String(number) },
    summary: { class: 'vent', sequence_number: String(number) },
  });
}

describe('RFC 9124 4.3.1: sequence numbers rise, one after the other, and none is given twice', () => {
  test('the first number is 1, and each taken number is durable as a file of its own', async () => {
    const { workspace, vent } = await withVent();
    expect([1, 2, 3].map(() => takeNumber(workspace, vent).number)).toEqual([1n, 2n, 3n]);
    const taken = readdirSync(workspace.path('private', 'counters', 'vent', 'taken'));
    expect(taken).toEqual(['0000000000000000001', '0000000000000000002', '0000000000000000003']);
  });

  test('a number stays used, whatever became of the payload: another opening of the workspace goes on after it', async () => {
    const { workspace, vent } = await withVent();
    takeNumber(workspace, vent);
    const again = await openWorkspace(workspace.root);
    expect(takeNumber(again, vent).number).toBe(2n);
  });

  test('each class counts for itself', async () => {
    const { workspace, vent } = await withVent();
    const dosing = await addClass(workspace, { name: 'dosing', model: 'DC-1', scheme: 'symmetric' });
    takeNumber(workspace, vent);
    expect(takeNumber(workspace, dosing).number).toBe(1n);
  });

  test('a number may be named when it is higher than the last; a used or lower one is refused', async () => {
    const { workspace, vent } = await withVent();
    expect(takeNumber(workspace, vent, { sequence: 40n }).number).toBe(40n);
    for (const sequence of [40n, 39n, 1n, 0n, -5n]) {
      expect((await failure(() => takeNumber(workspace, vent, { sequence }))).code).toBe('number-used');
    }
    expect(takeNumber(workspace, vent).number).toBe(41n);
  });

  test('a jump beyond the class limit needs an explicit yes', async () => {
    const { workspace, vent } = await withVent();
    expect(takeNumber(workspace, vent, { sequence: 1000n }).number).toBe(1000n);
    const error = await failure(() => takeNumber(workspace, vent, { sequence: 2001n }));
    expect(error.code).toBe('number-jump');
    expect(error.message).toContain('jump limit 1000 of class vent');
    expect(takeNumber(workspace, vent, { sequence: 2001n, allowJump: true }).number).toBe(2001n);
  });

  test('a time in milliseconds is pointed out: no number in seconds is accepted after it', async () => {
    const { workspace, vent } = await withVent();
    const milliseconds = BigInt(Date.UTC(2026, 0, 31));
    expect((await failure(() => takeNumber(workspace, vent, { sequence: milliseconds }))).message).toContain(
      'milliseconds',
    );
    expect(takeNumber(workspace, vent, { sequence: milliseconds / 1000n, allowJump: true }).cautions).toEqual(
      [],
    );
    const taken = takeNumber(workspace, vent, { sequence: milliseconds, allowJump: true });
    expect(taken.cautions[0]).toContain('milliseconds');
  });

  test('the last usable number is 2^63 - 1; after it nothing is given', async () => {
    const { workspace, vent } = await withVent();
    const beyond = await failure(() =>
      takeNumber(workspace, vent, { sequence: HIGHEST_NUMBER + 1n, allowJump: true }),
    );
    expect(beyond.code).toBe('number-out-of-range');
    expect(takeNumber(workspace, vent, { sequence: HIGHEST_NUMBER, allowJump: true }).number).toBe(
      2n ** 63n - 1n,
    );
    expect((await failure(() => takeNumber(workspace, vent))).code).toBe('number-out-of-range');
  });
});

describe('a copy of the workspace', () => {
  test('a clone reads everything, and takes no number until its operator claims the counter', async () => {
    const { workspace, vent } = await withVent();
    recordRelease(workspace, takeNumber(workspace, vent).number);
    const clone = await cloneOf(workspace);
    expect((await readClass(clone, 'vent')).model).toBe('VC-2');
    const error = await failure(() => takeNumber(clone, vent));
    expect(error.code).toBe('counter-missing');
    expect(error.status).toBe(1);
    expect(error.hint).toContain('counter claim vent --above');
    claimCounter(clone, vent, { above: 5n, reason: 'the old machine is gone' });
    expect(takeNumber(clone, vent).number).toBe(6n);
  });

  test('a clone of a class that was never sealed is no exception', async () => {
    const { workspace, vent } = await withVent();
    expect((await failure(async () => takeNumber(await cloneOf(workspace), vent))).code).toBe(
      'counter-missing',
    );
  });

  test('a claim stands in the ledger with its reason and a new lineage, and silences the copy that had the counter', async () => {
    const { workspace, vent } = await withVent();
    const clone = await cloneOf(workspace);
    const before = readCounter(clone, 'vent').owner;
    claimCounter(clone, vent, { above: 0n, reason: 'moved to a new machine' });
    const entry = readLedger(clone).at(-1)!;
    expect(entry).toMatchObject({
      kind: 'counter-claimed',
      facts: { class: 'vent', above: '0', reason: 'moved to a new machine' },
    });
    expect(entry.facts.counter_lineage).not.toBe(before);
    cpSync(clone.path('ledger'), workspace.path('ledger'), { recursive: true });
    const silenced = await failure(() => takeNumber(workspace, vent));
    expect(silenced.code).toBe('counter-elsewhere');
  });

  test('a claim below what ledger, records or this counter know is refused; so is an unconfirmed jump', async () => {
    const { workspace, vent } = await withVent();
    recordRelease(workspace, takeNumber(workspace, vent, { sequence: 7n }).number);
    const clone = await cloneOf(workspace);
    const low = await failure(() => claimCounter(clone, vent, { above: 6n, reason: 'x' }));
    expect(low.code).toBe('number-used');
    expect(low.hint).toContain('above 7');
    expect((await failure(() => claimCounter(clone, vent, { above: 5000n, reason: 'x' }))).code).toBe(
      'number-jump',
    );
    expect(claimCounter(clone, vent, { above: 5000n, reason: 'x', allowJump: true }).last).toBe(5000n);
  });

  test('a counter set back by a restore is found by the ledger', async () => {
    const { workspace, vent } = await withVent();
    const saved = join(emptyFolder(), 'private');
    cpSync(workspace.path('private'), saved, { recursive: true });
    appendEntry(workspace, 'sealed', {
      class: 'vent',
      sequence_number: String(takeNumber(workspace, vent).number),
    });
    rmSync(workspace.path('private', 'counters'), { recursive: true });
    cpSync(join(saved, 'counters'), workspace.path('private', 'counters'), { recursive: true });
    const error = await failure(() => takeNumber(workspace, vent));
    expect(error.code).toBe('counter-behind');
    expect(error.message).toContain('names number 1');
  });

  test('a release record alone is witness enough', async () => {
    const { workspace, vent } = await withVent();
    recordRelease(workspace, takeNumber(workspace, vent, { sequence: 9n }).number);
    rmSync(workspace.path('private', 'counters', 'vent', 'taken', '0000000000000000009'));
    expect(readCounter(workspace, 'vent').witnessed.number).toBe(9n);
    expect((await failure(() => takeNumber(workspace, vent))).code).toBe('counter-behind');
  });

  test('a damaged counter file is an error with the way out, never a number', async () => {
    const { workspace, vent } = await withVent();
    writeFileSync(workspace.path('private', 'counters', 'vent', 'counter.json'), '{"format": "fieldseal.cou');
    const error = await failure(() => takeNumber(workspace, vent));
    expect(error.code).toBe('file-damaged');
    expect(error.hint).toContain('counter claim');
  });

  test('a class written by hand starts its counter with its first number, and the ledger knows', async () => {
    const { workspace, vent } = await withVent();
    writeFileSync(
      workspace.path('classes', 'vent2.yaml'),
      readFileSync(vent.file, 'utf8').replace('VC-2', 'VC-3'),
    );
    const byHand = await readClass(workspace, 'vent2');
    expect(takeNumber(workspace, byHand).number).toBe(1n);
    expect(readLedger(workspace).at(-1)).toMatchObject({
      kind: 'counter-started',
      facts: { class: 'vent2' },
    });
  });
});
