import { copyFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { addKey, appendEntry, keyFaults, verifyLedger, writeRecord } from '../../src/workspace/index.ts';
import { freshWorkspace } from './setup.ts';

type Space = ReturnType<typeof freshWorkspace>;

function make(workspace: Space, name: string, value: string): void {
  addKey(workspace, {
    format: 'fieldseal.key/1',
    name,
    purpose: 'station',
    custody: 'file',
    algorithm: 'A256KW',
    check_value: value,
    fingerprint: value,
    trial: true,
    created: '2026-01-31T09:00:00.000Z',
  });
}

function record(workspace: Space, name: string, value: string): void {
  writeRecord(workspace, {
    folder: 'ceremonies',
    name: [name],
    kind: 'station-key-made',
    facts: { format: 'fieldseal.ceremony/1', fingerprint: value },
    summary: { key: name, purpose: 'station', fingerprint: value },
  });
}

describe('keys against the ledger', () => {
  test('a key is the one whose making was recorded', () => {
    const workspace = freshWorkspace();
    make(workspace, 'bench-3', '0011223344556677');
    record(workspace, 'bench-3', '0011223344556677');
    appendEntry(workspace, 'noted', { key: 'bench-3' });
    expect(keyFaults(workspace)).toEqual([]);
    expect(verifyLedger(workspace)).toMatchObject({ intact: true });
  });

  test('one that was swapped, and one that nobody recorded, are findings', () => {
    const workspace = freshWorkspace();
    const other = freshWorkspace();
    for (const [space, value] of [
      [workspace, '0011223344556677'],
      [other, '8899aabbccddeeff'],
    ] as const) {
      make(space, 'bench-3', value);
      record(space, 'bench-3', value);
    }
    const file = join('keys', 'bench-3.json');
    copyFileSync(other.path(file), workspace.path(file));
    make(workspace, 'bench-4', '0011223344556677');
    const findings = [
      {
        kind: 'key-changed',
        file: 'keys/bench-3.json',
        says: expect.stringContaining('is not the key that'),
      },
      { kind: 'key-changed', file: 'keys/bench-4.json', says: expect.stringContaining('no entry') },
    ];
    expect(verifyLedger(workspace)).toMatchObject({ intact: false, findings });
    expect(keyFaults(workspace, 'root')).toEqual([]);
  });
});
