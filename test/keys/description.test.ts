import { generateKeyPairSync } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import {
  checkValue,
  fingerprintMatches,
  type KeyDescription,
  readKeyDescription,
  requireProductionKey,
} from '../../src/keys/index.ts';
import { fingerprint } from '../../src/x509/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import { codeOf, failureOf } from './support.ts';

const spki = new Uint8Array(
  generateKeyPairSync('ec', { namedCurve: 'prime256v1' }).publicKey.export({ format: 'der', type: 'spki' }),
);
const SIGNER: KeyDescription = {
  format: 'fieldseal.key/1',
  name: 'line-1',
  purpose: 'signer',
  custody: 'file',
  algorithm: 'ESP256',
  spki: toHex(spki),
  fingerprint: fingerprint(spki),
  trial: false,
  created: '2026-11-25T09:00:00.000Z',
};

describe('keys/NAME.json', () => {
  it('is read as it is written', () => {
    expect(readKeyDescription(JSON.parse(JSON.stringify(SIGNER)))).toEqual(SIGNER);
  });

  it.each([
    ['another format', { format: 'fieldseal.key/2' }, 'format'],
    ['an unknown custody', { custody: 'pocket' }, 'custody'],
    ['a name that could leave its folder', { name: '../root' }, 'name'],
    ['a public key that is not hexadecimal', { spki: 'xyz' }, 'spki'],
    ['neither public key nor check value', { spki: undefined }, 'spki'],
    ['a fingerprint of another key', { fingerprint: '00'.repeat(32) }, 'fingerprint'],
    ['a token without its URI', { custody: 'token' }, 'token.uri'],
    ['a file with a token URI', { token: { uri: 'pkcs11:token=T' } }, 'token.uri'],
    ['a field nobody knows', { passphrase: 'x' }, 'passphrase'],
  ])('refuses %s, and names the field', async (_, change, field) => {
    const error = await failureOf(() => readKeyDescription({ ...SIGNER, ...change }));
    expect(error.code).toBe('key-description-invalid');
    expect(error.message).toContain(field);
  });

  it.each([null, 7, 'text', []])('refuses %j', async (value) => {
    expect(await codeOf(() => readKeyDescription(value))).toBe('key-description-invalid');
  });
});

describe('check values', () => {
  it('RFC 2104: the first 8 bytes of HMAC-SHA-256 over "fieldseal check value"; computed with openssl', () => {
    // printf 'fieldseal check value' | openssl dgst -sha256 -mac HMAC -macopt hexkey:000102...1f
    const key = Uint8Array.from({ length: 32 }, (_, i) => i);
    expect(toHex(checkValue(key))).toBe('48ca565b4b4a1bdb');
  });
});

describe('fingerprints read aloud', () => {
  const print = fingerprint(spki);

  it('blanks, colons, dashes, line ends and capitals do not matter', () => {
    expect(fingerprintMatches(`  ${print.toUpperCase().match(/../g)!.join(':')}\n`, print)).toBe(true);
    expect(fingerprintMatches(print.match(/.{4}/g)!.join('-'), print)).toBe(true);
  });

  it('every digit does', () => {
    expect(fingerprintMatches(print.slice(1), print)).toBe(false);
    expect(fingerprintMatches(`${print}0`, print)).toBe(false);
    expect(fingerprintMatches('', print)).toBe(false);
  });
});

describe('what a production workspace takes', () => {
  it('a key of its own', () => {
    expect(() => requireProductionKey({ name: 'line-1', trial: false, spki })).not.toThrow();
    expect(() =>
      requireProductionKey({ name: 'class', trial: false, checkValue: checkValue(spki) }),
    ).not.toThrow();
  });

  it('no trial key', async () => {
    expect(await codeOf(() => requireProductionKey({ name: 'k', trial: true, spki }))).toBe('key-trial');
  });

  it.each([16, 32])(
    'not the %i letters "a" of draft-ietf-suit-firmware-encryption 6.1.2 and 9',
    async (length) => {
      const check = checkValue(new Uint8Array(length).fill(0x61));
      expect(await codeOf(() => requireProductionKey({ name: 'k', trial: false, checkValue: check }))).toBe(
        'key-published',
      );
    },
  );

  it.skipIf(!vectorsPresent)('not the example key of draft-ietf-suit-manifest appendix B', async () => {
    const { keys } = vectors('suit-manifest-examples') as { keys: { xHex: string; yHex: string }[] };
    expect(keys.length).toBeGreaterThan(0);
    for (const { xHex, yHex } of keys) {
      const spki = fromHex(`3059301306072a8648ce3d020106082a8648ce3d03010703420004${xHex}${yHex}`);
      expect(await codeOf(() => requireProductionKey({ name: 'k', trial: false, spki }))).toBe(
        'key-published',
      );
    }
  });
});
