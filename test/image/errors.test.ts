import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { IMAGE_ERROR_CODES, ImageError } from '../../src/image/index.ts';

const folder = fileURLToPath(new URL('.', import.meta.url));
const tests = readdirSync(folder)
  .filter((name) => name.endsWith('.test.ts'))
  .map((name) => readFileSync(`${folder}/${name}`, 'utf8'))
  .join('\n');

describe('image refusals', () => {
  test('every code has a test that raises it', () => {
    const raised = (code: string) => tests.includes(`refused('${code}'`);
    expect(IMAGE_ERROR_CODES.filter((code) => !raised(code))).toEqual([]);
  });

  test('a message says where, what happened, what it means and what to do next', () => {
    const error = new ImageError('bad-checksum', 'the checksum is 00', { line: 7, record: 6 });
    expect(error).toMatchObject({ name: 'ImageError', line: 7, record: 6, offset: undefined });
    expect(error.message).toBe(`line 7 (record 6): the checksum is 00. ${error.means} ${error.next}`);
    expect(new ImageError('truncated', 'it ends', { record: 2 }).message).toMatch(
      /^program header 2: it ends/,
    );
  });
});
