import { readFileSync, writeFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { checkValue, type KeyDescription } from '../../src/keys/index.ts';
import {
  addKey,
  classKeyName,
  classKeys,
  cohortKeyName,
  keyPaths,
  listKeys,
  readCertificates,
  readKey,
  requireFreeKeyName,
} from '../../src/workspace/index.ts';
import { failure, freshWorkspace } from './setup.ts';

function macKey(name: string, purpose: 'class' | 'cohort', seed: number): KeyDescription {
  const value = toHex(checkValue(new Uint8Array(32).fill(seed)));
  return {
    format: 'fieldseal.key/1',
    name,
    purpose,
    custody: 'file',
    algorithm: 'HMAC 256/256',
    check_value: value,
    fingerprint: value,
    trial: true,
    created: '2026-01-31T09:00:00.000Z',
  };
}

describe('the list of keys', () => {
  test('a key is listed once, read back as it was, and found by purpose', async () => {
    const workspace = freshWorkspace();
    const description = macKey('dosing', 'class', 1);
    addKey(workspace, description);
    expect(readKey(workspace, 'dosing')).toEqual(description);
    expect(listKeys(workspace, 'class')).toEqual([description]);
    expect(listKeys(workspace, 'signer')).toEqual([]);
    expect((await failure(() => addKey(workspace, description))).code).toBe('name-taken');
    expect((await failure(() => requireFreeKeyName(workspace, 'dosing'))).code).toBe('name-taken');
    requireFreeKeyName(workspace, 'dosing-2');
  });

  test('a name is taken as soon as a secret or a certificate bears it', async () => {
    const workspace = freshWorkspace();
    writeFileSync(keyPaths(workspace, 'half').secret, 'a key whose description was never written');
    expect((await failure(() => requireFreeKeyName(workspace, 'half'))).code).toBe('name-taken');
  });

  test('the keys of a class are its own and those of its cohorts, never those of a class with a longer name', () => {
    const workspace = freshWorkspace();
    const names = [
      classKeyName('dosing'),
      cohortKeyName('dosing', 'north'),
      cohortKeyName('dosing', '2026.b'),
      classKeyName('dosing-2'),
      cohortKeyName('dosing-2', 'x'),
    ];
    for (const [i, name] of names.entries())
      addKey(workspace, macKey(name, name.includes('.') ? 'cohort' : 'class', i));
    expect(
      classKeys(workspace, 'dosing').map(({ description, cohort }) => [description.name, cohort]),
    ).toEqual([
      ['dosing', undefined],
      ['dosing.2026.b', '2026.b'],
      ['dosing.north', 'north'],
    ]);
  });

  const damage: [string, (text: string) => string][] = [
    ['cut short', (text) => text.slice(0, 50)],
    ['with another fingerprint', (text) => text.replace(/"fingerprint": "../, '"fingerprint": "00')],
    ['under another name', (text) => text.replace('"name": "dosing"', '"name": "other"')],
    ['with an unknown field', (text) => text.replace('{', '{"secret": "00",')],
  ];
  test.each(damage)('a description %s is an error about that file', async (_, change) => {
    const workspace = freshWorkspace();
    addKey(workspace, macKey('dosing', 'class', 1));
    const { description: file } = keyPaths(workspace, 'dosing');
    writeFileSync(file, change(readFileSync(file, 'utf8')));
    const error = await failure(() => readKey(workspace, 'dosing'));
    expect(error.code).toBe('file-damaged');
    expect(error.message).toContain('keys/dosing.json');
  });

  test('a key that is not there: the ones that are, are named', async () => {
    const workspace = freshWorkspace();
    addKey(workspace, macKey('dosing', 'class', 1));
    expect((await failure(() => readKey(workspace, 'vent'))).hint).toContain('dosing');
    expect((await failure(() => readKey(workspace, '../vent'))).code).toBe('name-invalid');
  });

  test('a certificate file that holds none is an error about that file; no file is no certificate', async () => {
    const workspace = freshWorkspace();
    expect(readCertificates(workspace, 'line-1')).toEqual([]);
    for (const text of ['', '-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n', 'garbage']) {
      writeFileSync(keyPaths(workspace, 'line-1').certificates, text);
      expect((await failure(() => readCertificates(workspace, 'line-1'))).code).toBe('file-damaged');
    }
  });
});
