import { existsSync, mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { formatUuid, vendorId } from '../../src/suit/index.ts';
import { initWorkspace, openWorkspace, readLedger } from '../../src/workspace/index.ts';
import { emptyFolder, failure, freshWorkspace } from './setup.ts';

describe('init', () => {
  test('RFC 9562 5.5: the vendor identifier is UUIDv5 of the domain in the DNS name space', async () => {
    const workspace = await openWorkspace(freshWorkspace().root);
    // Value computed apart from the project: python3 -c 'import uuid; print(uuid.uuid5(uuid.NAMESPACE_DNS, "hollinridge.example"))'
    expect(formatUuid(workspace.vendorId)).toBe('bd6c8eb7-c206-5544-ac9e-6b29026cc109');
    expect(workspace.vendorId).toEqual(vendorId('hollinridge.example'));
  });

  test('a workspace is a trial unless production is asked for, and its ledger says which', () => {
    const trial = freshWorkspace();
    expect(trial.kind).toBe('trial');
    expect(readLedger(trial)[0]).toMatchObject({
      kind: 'workspace-made',
      facts: { workspace_kind: 'trial' },
    });
    const production = initWorkspace(join(emptyFolder(), 'w'), {
      vendorDomain: 'hollinridge.example',
      production: true,
    });
    expect(production.kind).toBe('production');
    expect(readFileSync(production.path('README.md'), 'utf8')).toContain('**production** workspace');
  });

  test('what must not leave the machine is kept out of git, twice, and is for its owner only', () => {
    const workspace = freshWorkspace();
    expect(readFileSync(workspace.path('.gitignore'), 'utf8')).toContain('private/');
    expect(readFileSync(workspace.path('private', '.gitignore'), 'utf8')).toBe('*\n');
    expect(statSync(workspace.path('private')).mode & 0o777).toBe(0o700);
  });

  test('a folder that holds anything is refused and left alone; one that only git knows is fine', async () => {
    const folder = emptyFolder();
    writeFileSync(join(folder, 'notes.txt'), 'mine');
    const error = await failure(() => initWorkspace(folder, { vendorDomain: 'hollinridge.example' }));
    expect(error.code).toBe('not-empty');
    expect(existsSync(join(folder, 'fieldseal.yaml'))).toBe(false);
    const repository = emptyFolder();
    mkdirSync(join(repository, '.git'));
    expect(initWorkspace(repository, { vendorDomain: 'hollinridge.example' }).kind).toBe('trial');
    const again = await failure(() => initWorkspace(repository, { vendorDomain: 'hollinridge.example' }));
    expect(again.message).toContain('is a workspace already');
  });

  test.each([
    '',
    'hollinridge',
    'Hollinridge.example',
    'a..b',
    '-a.example',
    'a b.example',
    'https://hollinridge.example',
  ])('RFC 1034 3.5: %j is no domain name', async (vendorDomain) => {
    const folder = join(emptyFolder(), 'w');
    expect((await failure(() => initWorkspace(folder, { vendorDomain }))).code).toBe('wrong-value');
    expect(existsSync(folder)).toBe(false);
  });
});

describe('open', () => {
  test('finds the workspace at or above the current folder', async () => {
    const workspace = freshWorkspace();
    const before = process.cwd();
    const spy = join(workspace.root, 'classes');
    process.chdir(spy);
    try {
      expect((await openWorkspace()).vendorDomain).toBe('hollinridge.example');
    } finally {
      process.chdir(before);
    }
  });

  test('says what to do where there is none', async () => {
    const error = await failure(() => openWorkspace(emptyFolder()));
    expect(error.code).toBe('not-a-workspace');
    expect(error.status).toBe(2);
    expect(error.hint).toContain('fieldseal init');
  });

  test('a vendor identifier that does not belong to the domain is found, with its line', async () => {
    const workspace = freshWorkspace();
    const file = workspace.path('fieldseal.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace('bd6c8eb7', 'bd6c8eb8'));
    const error = await failure(() => openWorkspace(workspace.root));
    expect(error.code).toBe('file-invalid');
    expect(error.mistakes[0]).toMatchObject({ line: 4, field: 'vendor_id' });
  });

  test('a damaged workspace file names file, line, field, what was expected and an example', async () => {
    const workspace = freshWorkspace();
    const file = workspace.path('fieldseal.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace('kind: trial', 'kind: testing'));
    const error = await failure(() => openWorkspace(workspace.root));
    expect(error.message).toContain(
      'fieldseal.yaml:5:7: kind: expected one of trial, production, found the text testing',
    );
    expect(error.message).toContain('for example kind: "trial"');
  });

  test('binary rubbish in the place of the file is an error about that file', async () => {
    const workspace = freshWorkspace();
    writeFileSync(workspace.path('fieldseal.yaml'), Buffer.from([0x89, 0x50, 0x4e, 0x47, 0, 1, 2, 255]));
    expect((await failure(() => openWorkspace(workspace.root))).code).toBe('file-invalid');
  });
});
