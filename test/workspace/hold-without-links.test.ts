/** Where the file system knows no symbolic links, as a stick does. */
import { readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, vi } from 'vitest';
import { openUnitStore } from '../../src/workspace/index.ts';
import { emptyFolder, failure } from './setup.ts';

const fault = vi.hoisted(() => ({ code: '' }));
vi.mock('node:fs', async (original) => ({
  ...(await original<typeof import('node:fs')>()),
  symlinkSync: () => {
    throw Object.assign(new Error('symlink'), { code: fault.code });
  },
}));

test.each(['EPERM', 'EOPNOTSUPP'])(
  '%s: it is used as before, and nothing is left beside it',
  async (code) => {
    fault.code = code;
    const folder = emptyFolder();
    writeFileSync(join(folder, 'vent.unit'), 'unit');
    const store = await openUnitStore(join(folder, 'vent.unit'));
    store.write(0, Uint8Array.of(1));
    store.close();
    expect(readdirSync(folder)).toEqual(['vent.unit']);
  },
);

test('a folder that cannot be written to is said to be one, and nothing is written', async () => {
  fault.code = 'EACCES';
  const folder = emptyFolder();
  writeFileSync(join(folder, 'vent.unit'), 'unit');
  const error = await failure(() => openUnitStore(join(folder, 'vent.unit')));
  expect([error.code, error.status]).toEqual(['no-permission', 3]);
});
