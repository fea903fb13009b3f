/** The list of releases: who signed each, also later, and whom units still ask for. */
import { beforeEach, expect, test } from 'vitest';
import { releasesJson } from '../../src/answers/index.ts';
import { type JsonObject, type Workspace, writeRecord } from '../../src/workspace/index.ts';
import { freshWorkspace } from '../workspace/setup.ts';

let workspace: Workspace;
const record = (name: string, facts: JsonObject) =>
  writeRecord(workspace, {
    folder: 'releases',
    name: ['vent', name],
    kind: 'sealed',
    facts: { format: 'fieldseal.release/1', class: 'vent', sequence_number: name, ...facts },
    summary: { name },
  });
const signer = (name: string) => ({ name, fingerprint: `of ${name}` });
const file = (name: string) => ({ file: name, size_bytes: 1, sha256: `of ${name}` });

beforeEach(() => {
  workspace = freshWorkspace();
  record('1', { sealed: '2026-01-01', signers: [signer('author')], open: ['approver'], envelope: file('1') });
  record('1-signature-1', {
    signed: '2026-01-02',
    signer: signer('approver'),
    open: [],
    envelope: file('1 whole'),
  });
  // Somebody else signed the sealed envelope, too, and made another of it.
  record('1-signature-2', {
    signed: '2026-01-03',
    signer: signer('approver'),
    open: [],
    envelope: file('1 again'),
  });
  record('2', { sealed: '2026-02-01', signers: [signer('author')], open: ['approver'], envelope: file('2') });
  record('3', { sealed: '2026-03-01', mac_keys: [{ name: 'key' }], envelope: file('3') });
});

const list = (most?: number) =>
  releasesJson(workspace, most) as unknown as {
    sequence_number: string;
    signers: object[];
    open: string[];
    envelopes: { sha256: string }[];
  }[];

test('names whoever signed when it was sealed and later, each once, with the moment; and who is still missing', () => {
  const [byMac, unfinished, finished] = list();
  expect(finished).toMatchObject({
    signers: [
      { ...signer('author'), signed: null },
      { ...signer('approver'), signed: '2026-01-02' },
    ],
    open: [],
    envelopes: [file('1'), file('1 whole'), file('1 again')],
  });
  expect(unfinished).toMatchObject({ signers: [signer('author')], open: ['approver'] });
  expect(byMac).toMatchObject({ signers: [], open: [] });
});

test('has the latest first, and no more than are asked for', () => {
  expect(list().map(({ sequence_number }) => sequence_number)).toEqual(['3', '2', '1']);
  expect(list(2).map(({ sequence_number }) => sequence_number)).toEqual(['3', '2']);
});
