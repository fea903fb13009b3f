import { createDecipheriv } from 'node:crypto';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import {
  checkValue,
  createMacKey,
  createWrappingKey,
  type KeyDescription,
  openMacKey,
  type WrappedKey,
  withUnwrappedKey,
  wrapKey,
  wrapMacKey,
} from '../../src/keys/index.ts';
import { CREATED, codeOf, scratch, withPassphrase } from './support.ts';

const folder = scratch();
const secrets = withPassphrase();
const access = (name: string) => ({ file: join(folder, `${name}.pem`), secrets, production: true });
const OWN_SECRET = Uint8Array.from({ length: 32 }, (_, i) => i);
let classKey: KeyDescription;
let station: KeyDescription;
let wrapped: WrappedKey;

beforeAll(async () => {
  const place = (name: string) => ({ custody: 'file', path: access(name).file }) as const;
  const naming = { trial: false, created: CREATED } as const;
  [{ description: classKey }, { description: station }] = await Promise.all([
    createMacKey({ ...naming, name: 'dosing', purpose: 'class', place: place('dosing') }, secrets),
    createWrappingKey(
      { ...naming, name: 'bench-3', purpose: 'station', place: place('bench-3'), secret: OWN_SECRET },
      secrets,
    ),
  ]);
  wrapped = await wrapMacKey(classKey, access('dosing'), station, access('bench-3'));
});

describe('a class key for a production station (RFC 3394)', () => {
  it('travels wrapped, with check values of both keys and no secret', () => {
    expect(wrapped).toMatchObject({
      algorithm: 'A256KW',
      check_value: classKey.check_value,
      wrapping_key: { name: 'bench-3', check_value: toHex(checkValue(OWN_SECRET)) },
    });
    expect(JSON.stringify(wrapped)).not.toContain(toHex(OWN_SECRET));
  });

  it('opens with node:crypto alone, under the key that the station has', () => {
    const opener = createDecipheriv('id-aes256-wrap', OWN_SECRET, Buffer.alloc(8, 0xa6));
    const key = Buffer.concat([opener.update(fromHex(wrapped.wrapped)), opener.final()]);
    expect(key).toHaveLength(32);
    expect(toHex(checkValue(key))).toBe(classKey.check_value);
  });

  it('the station takes it out of its wrapping; the bytes are zeroed afterwards', async () => {
    const macKey = await openMacKey(classKey, access('dosing'));
    let lent = new Uint8Array();
    const found = await withUnwrappedKey(wrapped, station, access('bench-3'), (secret) => {
      lent = secret as Uint8Array<ArrayBuffer>;
      return checkValue(secret);
    });
    expect(found).toEqual(macKey.keyId);
    expect(lent).toEqual(new Uint8Array(32));
  });

  it('changed on its way, or another key than announced', async () => {
    const open = (change: Partial<WrappedKey>) =>
      codeOf(() => withUnwrappedKey({ ...wrapped, ...change }, station, access('bench-3'), () => 0));
    const changed = fromHex(wrapped.wrapped);
    changed[0]! ^= 1;
    expect(await open({ wrapped: toHex(changed) })).toBe('wrap-changed');
    expect(await open({ wrapped: toHex(wrapKey(OWN_SECRET, new Uint8Array(32))) })).toBe('key-differs');
    expect(await open({ wrapped: wrapped.wrapped.slice(2) })).toBe('wrap-input');
  });

  it('a class key is no wrapping key, and a wrapping key no class key', async () => {
    expect(await codeOf(() => wrapMacKey(station, access('bench-3'), station, access('bench-3')))).toBe(
      'key-purpose',
    );
    const pretended = { ...classKey, purpose: 'station' } as const;
    expect(await codeOf(() => wrapMacKey(classKey, access('dosing'), pretended, access('dosing')))).toBe(
      'key-differs',
    );
  });

  it.each([
    ['of another length', new Uint8Array(16), 'wrap-input'],
    ['that a draft prints as an example', new Uint8Array(32).fill(0x61), 'key-published'],
  ])('refuses to take in a wrapping key %s', async (title, secret, code) => {
    const name = title.replaceAll(' ', '-');
    const place = { custody: 'file', path: access(name).file } as const;
    const request = { name, purpose: 'station', trial: false, created: CREATED, place, secret } as const;
    expect(await codeOf(() => createWrappingKey(request, secrets))).toBe(code);
  });
});
