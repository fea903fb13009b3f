import { cpSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  appendEntry,
  canonicalJson,
  type JsonObject,
  jsonDigest,
  openWorkspace,
  readLedger,
  readRecord,
  verifyLedger,
  type Workspace,
  writeRecord,
} from '../../src/workspace/index.ts';
import { emptyFolder, failure, freshWorkspace } from './setup.ts';

const file = (workspace: Workspace, number: number) =>
  workspace.path('ledger', `${String(number).padStart(8, '0')}.json`);

/** A workspace with six entries: the first, then five. */
function sixEntries(): Workspace {
  const workspace = freshWorkspace();
  for (let i = 2; i <= 6; i++) appendEntry(workspace, 'noted', { text: `entry ${i}` });
  return workspace;
}

/** The same without the witnesses that git does not carry. */
async function clonedEntries(): Promise<Workspace> {
  const workspace = sixEntries();
  const root = join(emptyFolder(), 'clone');
  cpSync(workspace.root, root, {
    recursive: true,
    filter: (path) => !path.startsWith(workspace.path('private')),
  });
  return openWorkspace(root);
}

function rewrite(
  workspace: Workspace,
  number: number,
  change: (entry: Record<string, unknown>) => void,
): void {
  const entry = JSON.parse(readFileSync(file(workspace, number), 'utf8'));
  change(entry);
  writeFileSync(file(workspace, number), `${canonicalJson(entry)}\n`);
}

const found = (workspace: Workspace) =>
  verifyLedger(workspace).findings.map(({ kind, entry }) => `${kind} ${entry}`);

function release(workspace: Workspace, number: number): void {
  writeRecord(workspace, {
    folder: 'releases',
    name: ['vent', String(number)],
    kind: 'sealed',
    facts: { format: 'fieldseal.release/1', version: `1.${number}.0` },
    summary: { class: 'vent', sequence_number: String(number) },
  });
}

describe('the chain', () => {
  test('each entry holds the SHA-256 of the one before it, and the whole is intact', () => {
    const workspace = sixEntries();
    const entries = readLedger(workspace);
    for (const [i, entry] of entries.entries()) {
      expect(entry.previous).toBe(
        i === 0 ? '0'.repeat(64) : jsonDigest(entries[i - 1] as unknown as JsonObject),
      );
    }
    expect(verifyLedger(workspace)).toMatchObject({ intact: true, entries: 6, witnessed: 6, findings: [] });
  });

  test('RFC 8785 3.2: the canonical form sorts members by UTF-16 code units and has no white space', () => {
    // The sorting example of RFC 8785 section 3.2.3.
    const value = {
      '€': 'Euro Sign',
      '\r': 'Carriage Return',
      '\ufb33': 'Hebrew Letter Dalet With Dagesh',
      '1': 'One',
      '😀': 'Emoji: Grinning Face',
      '\u0080': 'Control',
      ö: 'Latin Small Letter O With Diaeresis',
    };
    expect(Object.values(JSON.parse(canonicalJson(value)))).toHaveLength(7);
    expect([...canonicalJson(value).matchAll(/:"([^"]*)"/g)].map((match) => match[1])).toEqual([
      'Carriage Return',
      'One',
      'Control',
      'Latin Small Letter O With Diaeresis',
      'Euro Sign',
      'Emoji: Grinning Face',
      'Hebrew Letter Dalet With Dagesh',
    ]);
    // The example of RFC 8785 section 3.2.2, without the numbers that no record holds.
    expect(canonicalJson({ string: '€$\u000F\nA\'B"\\\\"/', literals: [null, true, false] })).toBe(
      '{"literals":[null,true,false],"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}',
    );
  });

  test('what has no canonical form is refused', () => {
    expect(() => canonicalJson(Number.NaN)).toThrow(TypeError);
    expect(() => canonicalJson('\ud800')).toThrow(TypeError);
    expect(() => canonicalJson(undefined as never)).toThrow(TypeError);
  });
});

describe('tampering is found, and the entry is named', () => {
  const cases: [string, (workspace: Workspace) => void, string][] = [
    [
      'a changed fact',
      (w) => rewrite(w, 3, (entry) => Object.assign(entry, { facts: { text: 'other' } })),
      'changed 3',
    ],
    [
      'a changed time',
      (w) => rewrite(w, 3, (entry) => Object.assign(entry, { time: '2020-01-01T00:00:00.000Z' })),
      'changed 3',
    ],
    [
      'a changed first entry',
      (w) => rewrite(w, 1, (entry) => Object.assign(entry, { time: '2020-01-01T00:00:00.000Z' })),
      'changed 1',
    ],
    ['a removed entry', (w) => rmSync(file(w, 3)), 'removed 3'],
    [
      'a removed entry, the rest moved up',
      (w) => {
        for (const n of [4, 5, 6]) renameSync(file(w, n), file(w, n - 1));
      },
      'removed 3',
    ],
    [
      'two entries exchanged',
      (w) => {
        renameSync(file(w, 3), `${file(w, 3)}.x`);
        renameSync(file(w, 4), file(w, 3));
        renameSync(`${file(w, 3)}.x`, file(w, 4));
      },
      'reordered 3',
    ],
    [
      'an inserted entry, the rest moved down',
      (w) => {
        for (const n of [6, 5, 4, 3]) renameSync(file(w, n), file(w, n + 1));
        cpSync(file(w, 2), file(w, 3));
        rewrite(w, 3, (entry) => Object.assign(entry, { facts: { text: 'slipped in' }, number: 3 }));
      },
      'inserted 3',
    ],
    ['a foreign file', (w) => writeFileSync(w.path('ledger', '00000003b.json'), '{}'), 'foreign null'],
    [
      'white space in an entry',
      (w) => writeFileSync(file(w, 3), `${readFileSync(file(w, 3), 'utf8')} `),
      'unreadable 3',
    ],
    [
      'half an entry',
      (w) => writeFileSync(file(w, 3), readFileSync(file(w, 3), 'utf8').slice(0, 40)),
      'unreadable 3',
    ],
  ];
  test.each(cases)('%s', async (_, tamper, finding) => {
    for (const workspace of [sixEntries(), await clonedEntries()]) {
      tamper(workspace);
      expect(verifyLedger(workspace).intact).toBe(false);
      expect(found(workspace)).toContain(finding);
    }
  });

  test('the end cut off: found by the witness kept outside git', () => {
    const workspace = sixEntries();
    rmSync(file(workspace, 6));
    rmSync(file(workspace, 5));
    expect(found(workspace)).toEqual(['cut-off 5']);
    expect(verifyLedger(workspace).findings[0]!.says).toContain('entries 5 to 6 were cut off the end');
  });

  test('the end cut off in a clone: found by the record that refers to it', async () => {
    const workspace = sixEntries();
    release(workspace, 1);
    rmSync(workspace.path('private'), { recursive: true });
    expect(verifyLedger(workspace).intact).toBe(true);
    rmSync(file(workspace, 7));
    expect(found(workspace)).toContain('cut-off 7');
  });

  test('the whole chain rewritten, every digest right: found by the witness', () => {
    const workspace = sixEntries();
    let previous = '0'.repeat(64);
    for (let n = 1; n <= 6; n++) {
      rewrite(workspace, n, (entry) =>
        Object.assign(entry, { previous }, n === 4 && { facts: { text: 'never happened' } }),
      );
      previous = jsonDigest(JSON.parse(readFileSync(file(workspace, n), 'utf8')));
    }
    expect(found(workspace)).toEqual(['changed 4', 'changed 5', 'changed 6']);
  });

  test('a trial workspace that calls itself production is found, and writes nothing more', async () => {
    const workspace = sixEntries();
    const path = workspace.path('fieldseal.yaml');
    writeFileSync(path, readFileSync(path, 'utf8').replace('kind: trial', 'kind: production'));
    const promoted = await openWorkspace(workspace.root);
    expect(found(promoted)).toEqual(['workspace-changed 1']);
    expect((await failure(() => appendEntry(promoted, 'noted', {}))).code).toBe('ledger-broken');
  });

  test('several entries removed from the middle are one finding; a huge number in an entry or record costs nothing', () => {
    const workspace = sixEntries();
    for (const number of [2, 3, 4]) rmSync(file(workspace, number));
    expect(found(workspace)).toEqual(['removed 2']);
    expect(verifyLedger(workspace).findings[0]!.says).toBe('entries 2 to 4 were removed');
    rewrite(workspace, 6, (entry) => Object.assign(entry, { number: 2 ** 52 }));
    expect(found(workspace)).toContain('removed 6');
  });

  test('a ledger cut short takes no further entry', async () => {
    const workspace = sixEntries();
    rmSync(file(workspace, 6));
    expect((await failure(() => appendEntry(workspace, 'noted', {}))).code).toBe('ledger-broken');
    expect(readLedger(workspace)).toHaveLength(5);
  });

  test('property: any single change to any byte of any entry is found', () => {
    const workspace = sixEntries();
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 6 }),
        fc.nat(),
        fc.integer({ min: 1, max: 255 }),
        (number, at, flip) => {
          const whole = readFileSync(file(workspace, number));
          const changed = Buffer.from(whole);
          changed[at % changed.length]! ^= flip;
          writeFileSync(file(workspace, number), changed);
          const { intact } = verifyLedger(workspace);
          writeFileSync(file(workspace, number), whole);
          expect(intact).toBe(false);
        },
      ),
    );
    expect(verifyLedger(workspace).intact).toBe(true);
  });
});

describe('records', () => {
  test('a record refers to its ledger entry, and the entry holds its digest', () => {
    const workspace = freshWorkspace();
    release(workspace, 1);
    const record = readRecord(workspace, 'releases', ['vent', '1']);
    const entry = readLedger(workspace).at(-1)!;
    expect(record.ledger).toEqual({ number: 2, sha256: jsonDigest(entry as unknown as JsonObject) });
    expect(entry.facts).toMatchObject({
      record: 'releases/vent/1.json',
      record_sha256: jsonDigest(record.facts),
    });
  });

  test('a record is written once', async () => {
    const workspace = freshWorkspace();
    release(workspace, 1);
    expect((await failure(() => release(workspace, 1))).code).toBe('name-taken');
    expect(readLedger(workspace)).toHaveLength(2);
  });

  const faults: [string, (path: string) => void, string][] = [
    [
      'changed',
      (path) => writeFileSync(path, readFileSync(path, 'utf8').replace('1.1.0', '1.9.0')),
      'record-changed 2',
    ],
    ['removed', (path) => rmSync(path), 'record-missing 2'],
    ['damaged', (path) => writeFileSync(path, '{"format": '), 'record-changed null'],
    [
      'invented',
      (path) => writeFileSync(path.replace('1.json', '2.json'), readFileSync(path)),
      'record-changed null',
    ],
  ];
  test.each(faults)('a %s record is found', (_, tamper, finding) => {
    const workspace = freshWorkspace();
    release(workspace, 1);
    expect(verifyLedger(workspace).intact).toBe(true);
    tamper(workspace.path('releases', 'vent', '1.json'));
    expect(found(workspace)).toContain(finding);
  });

  test('a damaged record is an error about that file', async () => {
    const workspace = freshWorkspace();
    release(workspace, 1);
    writeFileSync(workspace.path('releases', 'vent', '1.json'), '{"format": ');
    const error = await failure(() => readRecord(workspace, 'releases', ['vent', '1']));
    expect(error.code).toBe('file-damaged');
    expect(error.message).toContain('releases/vent/1.json');
  });
});
