import { describe, expect, it } from 'vitest';
import { readDecrypted } from '../../src/keys/file-custody.ts';
import { codeOf } from './support.ts';

describe('RFC 8018 6.2.2: about one wrong passphrase in 256 passes the padding check', () => {
  it.each([
    ['nothing', ''],
    ['noise', '8f3a11'],
    ['something that begins like a key', '302e0201'],
  ])('what it gives (%s) is told as a wrong passphrase, not as broken DER', async (_, hex) => {
    expect(await codeOf(() => readDecrypted(Buffer.from(hex, 'hex')))).toBe('passphrase-wrong');
  });
});
