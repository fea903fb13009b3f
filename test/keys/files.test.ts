import {
  chmodSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { readTextFile, writeNewFile } from '../../src/keys/index.ts';
import { codeOf, failureOf, scratch } from './support.ts';

const folder = scratch();
const isRoot = process.getuid?.() === 0;

describe('a new file', () => {
  it('is there whole, for its owner only', () => {
    const path = join(folder, 'new');
    writeNewFile(path, 'text');
    expect(readFileSync(path, 'utf8')).toBe('text');
    expect(statSync(path).mode & 0o777).toBe(0o600);
    expect(statSync(path).nlink).toBe(1);
  });

  it('never replaces one that is there', async () => {
    const path = join(folder, 'taken');
    writeFileSync(path, 'before');
    expect(await codeOf(() => writeNewFile(path, 'after'))).toBe('key-file-exists');
    expect(readFileSync(path, 'utf8')).toBe('before');
  });

  it('leaves nothing behind where it fails', async () => {
    const closed = join(folder, 'closed');
    mkdirSync(closed);
    mkdirSync(join(closed, 'taken'));
    expect(await codeOf(() => writeNewFile(join(closed, 'taken'), 'x'))).toBe('key-file-exists');
    expect(readdirSync(closed)).toEqual(['taken']);
  });

  it.skipIf(isRoot)('in a folder that may not be written', async () => {
    const closed = join(folder, 'read-only');
    mkdirSync(closed);
    chmodSync(closed, 0o500);
    const error = await failureOf(() => writeNewFile(join(closed, 'k'), 'x'));
    expect(error.code).toBe('key-file-unwritable');
    expect(error.message).toContain('EACCES');
    expect(existsSync(join(closed, 'k'))).toBe(false);
  });
});

describe('reading', () => {
  it('what is missing, what is no file, what is too large for a key', async () => {
    expect(await codeOf(() => readTextFile(join(folder, 'absent')))).toBe('key-file-missing');
    expect(await codeOf(() => readTextFile(folder))).toBe('key-file-unreadable');
    const large = join(folder, 'large');
    writeFileSync(large, Buffer.alloc((1 << 20) + 1));
    expect(await codeOf(() => readTextFile(large))).toBe('key-file-unreadable');
    expect(readTextFile(large, 2 << 20)).toHaveLength((1 << 20) + 1);
  });
});
