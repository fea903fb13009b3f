import { createDecipheriv } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import {
  checkValue,
  createContentKey,
  createMacKey,
  createWrappingKey,
  type KeyDescription,
  openContentKey,
  openMacKey,
  withUnwrappedKey,
  wrapContentKey,
} from '../../src/keys/index.ts';
import { CREATED, codeOf, scratch, withPassphrase } from './support.ts';

const folder = scratch();
const secrets = withPassphrase();
const access = (name: string) => ({ file: join(folder, `${name}.pem`), secrets, production: true });
const naming = { trial: false, created: CREATED } as const;
const keys = new Map<string, KeyDescription>();
let station: KeyDescription;

beforeAll(async () => {
  for (const algorithm of ['A128KW', 'A256KW'] as const) {
    const request = { ...naming, name: algorithm, purpose: 'content', algorithm } as const;
    const made = await createContentKey({ ...request, path: access(algorithm).file }, secrets);
    keys.set(algorithm, made.description);
  }
  const place = { custody: 'file', path: access('bench-3').file } as const;
  const made = await createWrappingKey({ ...naming, name: 'bench-3', purpose: 'station', place }, secrets);
  station = made.description;
});

describe.each([
  ['A128KW', 16, 'id-aes128-wrap'],
  ['A256KW', 32, 'id-aes256-wrap'],
] as const)('a content key for %s (RFC 9053 section 6.2.1)', (algorithm, length, cipher) => {
  it('is described by its check value, and its file is encrypted', () => {
    expect(keys.get(algorithm)).toMatchObject({ purpose: 'content', custody: 'file', algorithm });
    expect(readFileSync(access(algorithm).file, 'utf8')).toContain('ENCRYPTED PRIVATE KEY');
  });

  it('wraps content keys so that node:crypto alone opens them under the key that units get', async () => {
    const description = keys.get(algorithm)!;
    const recipient = await openContentKey(description, access(algorithm));
    expect(recipient.algorithm.name).toBe(algorithm);
    expect(toHex(recipient.keyId!)).toBe(description.fingerprint);
    const contentKey = Uint8Array.from({ length: 16 }, (_, i) => i);
    const wrapped = await recipient.wrap(contentKey);
    const travelling = await wrapContentKey(description, access(algorithm), station, access('bench-3'));
    const opened = await withUnwrappedKey(travelling, station, access('bench-3'), (kek) => {
      expect(kek).toHaveLength(length);
      expect(toHex(checkValue(kek))).toBe(description.fingerprint);
      const opener = createDecipheriv(cipher, kek, Buffer.alloc(8, 0xa6));
      return Buffer.concat([opener.update(wrapped), opener.final()]);
    });
    expect(toHex(opened)).toBe(toHex(contentKey));
    recipient.close();
    await expect(recipient.wrap(contentKey)).rejects.toThrow('is closed');
  });

  it('serves this purpose only: it makes no MAC, and no MAC key wraps', async () => {
    expect(await codeOf(() => openMacKey(keys.get(algorithm)!, access(algorithm)))).toBe('key-purpose');
    const place = { custody: 'file', path: access(`mac-${algorithm}`).file } as const;
    const mac = await createMacKey({ ...naming, name: `mac-${algorithm}`, purpose: 'class', place }, secrets);
    expect(await codeOf(() => openContentKey(mac.description, access(`mac-${algorithm}`)))).toBe(
      'key-purpose',
    );
  });

  it('another key in its file is told by the check value', async () => {
    const changed = { ...keys.get(algorithm)!, check_value: '00'.repeat(8), fingerprint: '00'.repeat(8) };
    expect(await codeOf(() => openContentKey(changed, access(algorithm)))).toBe('key-differs');
  });
});
