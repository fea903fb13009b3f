/** RFC 8554 section 9.2, NIST SP 800-208: a one-time leaf is used once, and nothing that is copied or set back signs. */
import { execFileSync } from 'node:child_process';
import { cpSync, readdirSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { HssTrees, hssShapeNames, hssSpki, parseHssShape } from '../../src/crypto/index.ts';
import { type KeyDescription, readKeyDescription } from '../../src/keys/index.ts';
import {
  appendEntry,
  leavesCaution,
  leavesRefusal,
  openLeaves,
  openWorkspace,
  readLeaves,
  readLedger,
  startLeaves,
  verifyLedger,
  type Workspace,
  writeRecord,
} from '../../src/workspace/index.ts';
import { fingerprint } from '../../src/x509/index.ts';
import { emptyFolder, failure, freshWorkspace } from './setup.ts';

/** Description of a key whose top tree is that of H5/W2; deeper levels only multiply the leaves. */
function keyNamed(name: string, parameters = 'H5/W2'): KeyDescription {
  const shape = parseHssShape(parameters)!;
  const top = new HssTrees({ shape: shape.slice(0, 1), master: new Uint8Array(32).fill(name.length) });
  const spki = hssSpki(top.publicKey().with(3, shape.length))!;
  return readKeyDescription({
    ...{ format: 'fieldseal.key/1', name, purpose: 'signer', custody: 'file', algorithm: 'HSS-LMS' },
    ...{ spki: toHex(spki), fingerprint: fingerprint(spki), levels: hssShapeNames(shape) },
    ...{ trial: true, created: '2026-11-25T09:00:00.000Z' },
  });
}

const KEY = keyNamed('line-q');
const OTHER = keyNamed('line-r2');

function started(key = KEY) {
  const workspace = freshWorkspace();
  return { workspace, leaves: startLeaves(workspace, key) };
}

/** Puts a use of a leaf on record, as sealing does. */
function recordUse(workspace: Workspace, number: number, leaf: bigint, key = KEY): void {
  const leaves = [{ key: key.name, fingerprint: key.fingerprint, leaf: String(leaf) }];
  writeRecord(workspace, {
    folder: 'releases',
    name: ['vent', String(number)],
    kind: 'sealed',
    facts: { format: 'fieldseal.release/1', class: 'vent', sequence_number: String(number), leaves },
    summary: { class: 'vent', sequence_number: String(number), leaves },
  });
}

async function copyOf(
  workspace: Workspace,
  keeps: (path: string) => boolean = () => true,
): Promise<Workspace> {
  const root = join(emptyFolder(), 'copy');
  cpSync(workspace.root, root, { recursive: true, filter: keeps, preserveTimestamps: true });
  return openWorkspace(root);
}

const codeOf = async (action: () => unknown) => (await failure(action)).code;

describe('leaves rise, one after the other, and none is given twice', () => {
  test('the first leaf is 0, and each is durable as a file of its own', () => {
    const { workspace, leaves } = started();
    expect([1, 2, 3].map(() => leaves.take())).toEqual([0n, 1n, 2n]);
    expect(readdirSync(workspace.path('private', 'leaves', 'line-q', 'spent'))).toEqual(
      ['0', '1', '2'].map((digit) => digit.padStart(19, '0')),
    );
  });

  test('a leaf stays spent whatever became of the signature: another opening goes on after it', async () => {
    const { workspace, leaves } = started();
    leaves.take();
    const again = await openWorkspace(workspace.root);
    expect(openLeaves(again, KEY).take()).toBe(1n);
  });

  test('two that sign at once never get the same', () => {
    const { workspace, leaves } = started();
    const other = openLeaves(workspace, KEY);
    const taken = Array.from({ length: 20 }, (_, i) => (i % 2 === 0 ? leaves : other).take());
    expect(new Set(taken).size).toBe(20);
  });

  test('each key counts for itself', () => {
    const { workspace, leaves } = started();
    leaves.take();
    expect(startLeaves(workspace, OTHER).take()).toBe(0n);
  });

  test('the ledger says when they were started, and how many there are', () => {
    const { workspace } = started();
    const [entry] = readLedger(workspace).filter(({ kind }) => kind === 'leaves-started');
    expect(entry?.facts).toMatchObject({ key: 'line-q', fingerprint: KEY.fingerprint, leaf_capacity: '32' });
  });

  test('they are never started twice', async () => {
    const { workspace } = started();
    expect(await codeOf(() => startLeaves(workspace, KEY))).toBe('name-taken');
  });

  test('after the last there is none, and the words are clear', async () => {
    const { leaves } = started();
    for (let i = 0; i < 32; i++) leaves.take();
    const error = await failure(() => leaves.take());
    expect(error.code).toBe('leaves-used-up');
    expect(error.status).toBe(1);
    expect(error.message).toContain('all of its 32 signatures');
  });
});

describe('a copy, a clone and a restored counter refuse to sign', () => {
  test('a copy of the whole workspace', async () => {
    const { workspace, leaves } = started();
    leaves.take();
    const copy = await copyOf(workspace);
    const error = await failure(() => openLeaves(copy, KEY));
    expect(error.code).toBe('leaves-copied');
    expect(error.hint).toContain('retire this key');
    expect(leaves.take()).toBe(1n);
  });

  test('a copy made before the first signature', async () => {
    const { workspace } = started();
    expect(await codeOf(() => openLeaves(workspace, OTHER))).toBe('leaves-missing');
    const copy = await copyOf(workspace);
    expect(await codeOf(() => openLeaves(copy, KEY))).toBe('leaves-copied');
  });

  test.skipIf(process.platform === 'win32')('a copy made of hard links', async () => {
    const { workspace, leaves } = started();
    leaves.take();
    const root = join(emptyFolder(), 'linked');
    execFileSync('cp', ['-al', workspace.root, root]);
    expect(await codeOf(async () => openLeaves(await openWorkspace(root), KEY))).toBe('leaves-copied');
    expect(leaves.take()).toBe(1n);
  });

  test('a clone, which has no private folder', async () => {
    const { workspace } = started();
    const clone = await copyOf(workspace, (path) => !path.startsWith(workspace.path('private')));
    expect(await codeOf(() => openLeaves(clone, KEY))).toBe('leaves-missing');
  });

  test('a workspace that was moved is the same one', async () => {
    const { workspace, leaves } = started();
    leaves.take();
    const root = join(emptyFolder(), 'moved');
    renameSync(workspace.root, root);
    expect(openLeaves(await openWorkspace(root), KEY).take()).toBe(1n);
  });

  test('a private folder restored from a backup, although everything else is as it was', async () => {
    const { workspace, leaves } = started();
    const backup = join(emptyFolder(), 'private');
    cpSync(workspace.path('private'), backup, { recursive: true, preserveTimestamps: true });
    leaves.take();
    rmSync(workspace.path('private'), { recursive: true });
    cpSync(backup, workspace.path('private'), { recursive: true, preserveTimestamps: true });
    expect(['leaves-copied', 'ledger-broken']).toContain(await codeOf(() => openLeaves(workspace, KEY)));
  });

  test.each(['ledger and record', 'ledger alone', 'record alone'])(
    'marks set back in place, where the %s names a higher leaf',
    async (witness) => {
      const { workspace, leaves } = started();
      leaves.take();
      recordUse(workspace, 1, leaves.take());
      const spent = workspace.path('private', 'leaves', 'line-q', 'spent');
      rmSync(join(spent, '1'.padStart(19, '0')));
      if (witness === 'ledger alone') rmSync(workspace.path('releases', 'vent', '1.json'));
      if (witness === 'record alone') {
        const last = readLedger(workspace).length;
        rmSync(workspace.path('ledger', `${String(last).padStart(8, '0')}.json`));
      }
      const error = await failure(() => leaves.take());
      expect(error.code).toBe('leaves-behind');
      expect(error.message).toContain('names leaf 1');
      expect(await codeOf(() => openLeaves(workspace, KEY))).toBe('leaves-behind');
      expect(readdirSync(spent)).toHaveLength(1);
    },
  );

  test('another key that used a higher leaf is no witness', () => {
    const { workspace, leaves } = started();
    recordUse(workspace, 1, 20n, OTHER);
    expect(leaves.take()).toBe(0n);
  });

  test('a ledger that does not know that they were started, or knows of two starts', async () => {
    const { workspace } = started();
    const [entry] = readLedger(workspace).filter(({ kind }) => kind === 'leaves-started');
    appendEntry(workspace, 'leaves-started', { ...entry!.facts, leaf_lineage: 'of another copy' });
    expect(await codeOf(() => openLeaves(workspace, KEY))).toBe('leaves-missing');
  });

  test.each(['', '{}', 'null', '{"format":"fieldseal.leaves/1","fingerprint":7}'])(
    'a counter file that holds %j is no counter',
    async (text) => {
      const { workspace } = started();
      writeFileSync(workspace.path('private', 'leaves', 'line-q', 'counter.json'), text);
      expect(await codeOf(() => openLeaves(workspace, KEY))).toBe('leaves-missing');
    },
  );

  test('a counter carried over from another key', async () => {
    const { workspace } = started();
    startLeaves(workspace, OTHER);
    const of = (name: string) => workspace.path('private', 'leaves', name);
    rmSync(of('line-q'), { recursive: true });
    renameSync(of('line-r2'), of('line-q'));
    expect(await codeOf(() => openLeaves(workspace, KEY))).toBe('leaves-missing');
  });

  test('a mark of its place that was made anew', async () => {
    const { workspace } = started();
    const place = workspace.path('private', 'leaves', 'line-q', 'place');
    writeFileSync(`${place}.new`, '');
    renameSync(`${place}.new`, place);
    expect(await codeOf(() => openLeaves(workspace, KEY))).toBe('leaves-copied');
    rmSync(place);
    expect(await codeOf(() => openLeaves(workspace, KEY))).toBe('leaves-copied');
  });
});

describe('what is left is shown, and warned about below 10 % and below 100', () => {
  const told = (parameters: string, taken: bigint) => {
    const key = keyNamed('line-q', parameters);
    const { workspace } = started(key);
    if (taken > 0n) recordUse(workspace, 1, taken - 1n, key);
    const state = readLeaves(workspace, key)!;
    return { ...state, caution: leavesCaution('line-q', state) };
  };

  test.each([
    ['H5/W2,H5/W2', 0n, 1024n, false],
    ['H5/W2,H5/W2', 921n, 103n, false],
    ['H5/W2,H5/W2', 922n, 102n, true],
    ['H5/W2,H5/W2,H5/W2', 29_491n, 3277n, false],
    ['H5/W2,H5/W2,H5/W2', 29_492n, 3276n, true],
    ['H5/W2,H5/W2', 925n, 99n, true],
    ['H5/W2', 0n, 32n, true],
  ])('%s with %d taken leaves %d: warned %s', (parameters, taken, remaining, few) => {
    const state = told(parameters, taken);
    expect(state.remaining).toBe(remaining);
    expect(state.few).toBe(few);
    expect(state.caution !== undefined).toBe(few);
  });

  test('a spent key is told as such', () => {
    expect(told('H5/W2', 32n).caution).toContain('has made all of its 32 signatures');
  });

  test('why a key cannot sign here is known without taking a leaf', async () => {
    const { workspace, leaves } = started();
    expect(leavesRefusal(workspace, KEY)).toBeUndefined();
    expect(leavesRefusal(await copyOf(workspace), KEY)?.code).toBe('leaves-copied');
    expect(leaves.take()).toBe(0n);
  });
});

describe('ledger check', () => {
  test('finds a leaf that two entries name', () => {
    const { workspace, leaves } = started();
    const leaf = leaves.take();
    recordUse(workspace, 1, leaf);
    expect(verifyLedger(workspace).findings).toEqual([]);
    recordUse(workspace, 2, leaf);
    const { findings, intact } = verifyLedger(workspace);
    expect(intact).toBe(false);
    expect(findings.map(({ kind }) => kind)).toEqual(['leaf-twice']);
    expect(findings[0]?.says).toContain('Retire the key');
  });
});
