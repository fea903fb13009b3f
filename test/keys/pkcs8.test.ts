import { generateKeyPairSync } from 'node:crypto';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { KeyError } from '../../src/keys/index.ts';
import { readProtection } from '../../src/keys/pbes2.ts';
import {
  markPrivateKeyInfo,
  readPrivateKeyInfo,
  TRIAL_MARK,
  writeSecretKeyInfo,
} from '../../src/keys/pkcs8.ts';
import { DerError, der, TAG } from '../../src/x509/index.ts';
import { codeOf } from './support.ts';

const SECRET = new Uint8Array(32).fill(0x42);

describe('RFC 5958 2: PrivateKeyInfo of a secret key', () => {
  it('a trial key has its mark as friendlyName behind it (RFC 2985 5.5.1), byte for byte', () => {
    const mark = Buffer.from(TRIAL_MARK, 'utf16le').swap16().toString('hex');
    expect(toHex(writeSecretKeyInfo('mac', SECRET, true))).toBe(
      `306c020100300c06082a864886f70d020905000420${'42'.repeat(32)}` +
        `a037303506092a864886f70d01091431281e${(mark.length / 2).toString(16)}${mark}`,
    );
  });

  it.each([
    ['mac', '30330201 00300c06082a864886f70d020905000420'],
    ['wrap', '30320201 00300b060960864801650304012d0420'],
  ] as const)('a %s key without mark, byte for byte', (kind, head) => {
    expect(toHex(writeSecretKeyInfo(kind, SECRET, false))).toBe(head.replace(' ', '') + '42'.repeat(32));
  });

  it('what is written is read back', () => {
    const bytes = fc.uint8Array({ minLength: 1, maxLength: 64 });
    fc.assert(
      fc.property(fc.constantFrom('mac', 'wrap'), bytes, fc.boolean(), (kind, secret, trial) => {
        const info = readPrivateKeyInfo(writeSecretKeyInfo(kind, secret, trial));
        expect(info).toEqual({ kind, privateKey: secret, trial });
      }),
    );
  });
});

describe('RFC 5958 2: reading', () => {
  const { privateKey } = generateKeyPairSync('ed25519');
  const plain = new Uint8Array(privateKey.export({ format: 'der', type: 'pkcs8' }));

  it('marks a key that another program wrote, and takes the mark off', () => {
    expect(readPrivateKeyInfo(plain)).toMatchObject({ kind: 'ed25519', trial: false });
    const marked = markPrivateKeyInfo(plain.slice(), true);
    expect(readPrivateKeyInfo(marked)).toMatchObject({ kind: 'ed25519', trial: true });
    expect(markPrivateKeyInfo(marked, false)).toEqual(plain);
  });

  it('RFC 8410 10.3: version 1 with attributes and the public key', () => {
    const hex =
      '3072020101300506032b657004220420d4ee72dbf913584ad5b6d8f1f769f8ad3afe7c28cbf1d4fbe097a88f44755842' +
      'a01f301d060a2a864886f70d01090914310f0c0d437572646c6520436861697273' +
      '81210019bf44096984cdfe8541bac167dc3b96c85086aa30b6b6cb0c5c38ad703166e1';
    expect(readPrivateKeyInfo(fromHex(hex))).toMatchObject({ kind: 'ed25519', trial: false });
  });

  it('another friendlyName is no trial mark', () => {
    const name = der.element(TAG.bmpString, fromHex('00410042'));
    const attribute = der.sequence(der.oid('1.2.840.113549.1.9.20'), der.setOf(name));
    const algorithm = der.sequence(der.oid('1.3.101.112'));
    const info = der.sequence(
      der.integer(0),
      algorithm,
      der.octetString(SECRET),
      der.constructed(0, attribute),
    );
    expect(readPrivateKeyInfo(info).trial).toBe(false);
  });

  it('another algorithm is refused with its code', async () => {
    const other = der.sequence(der.integer(0), der.sequence(der.oid('1.2.3')), der.octetString(SECRET));
    expect(await codeOf(() => readPrivateKeyInfo(other))).toBe('key-type-unsupported');
  });

  it('any bytes give a key or a coded refusal', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (bytes) =>
        refusesInCode(() => readPrivateKeyInfo(bytes)),
      ),
    );
    const whole = writeSecretKeyInfo('mac', SECRET, true);
    fc.assert(
      fc.property(fc.nat(whole.length - 1), fc.nat(255), (at, value) => {
        const changed = whole.slice();
        changed[at] = value;
        refusesInCode(() => readPrivateKeyInfo(changed));
      }),
    );
  });
});

describe('RFC 8018 A.4: PBES2 parameters', () => {
  const pbes2 = (kdf: Uint8Array, cipher: Uint8Array, scheme = '1.2.840.113549.1.5.13') =>
    der.sequence(
      der.sequence(der.oid(scheme), der.sequence(kdf, cipher)),
      der.octetString(new Uint8Array(48)),
    );
  const prf = (oid: string) => der.sequence(der.oid(oid), der.null());
  const pbkdf2 = (...parameters: Uint8Array[]) =>
    der.sequence(
      der.oid('1.2.840.113549.1.5.12'),
      der.sequence(der.octetString(new Uint8Array(16)), ...parameters),
    );
  const aes256 = der.sequence(der.oid('2.16.840.1.101.3.4.1.42'), der.octetString(new Uint8Array(16)));
  const sha256 = prf('1.2.840.113549.2.9');

  it('reads key derivation, rounds and cipher, with or without the key length', () => {
    const expected = { kdf: 'PBKDF2-HMAC-SHA256', rounds: 2048, cipher: 'AES-256-CBC' };
    expect(readProtection(pbes2(pbkdf2(der.integer(2048), sha256), aes256))).toEqual(expected);
    const withLength = pbkdf2(der.integer(2048), der.integer(32), sha256);
    expect(readProtection(pbes2(withLength, aes256))).toEqual(expected);
  });

  it.each([
    ['a scheme that is not PBES2', pbes2(pbkdf2(der.integer(1), sha256), aes256, '1.2.840.113549.1.12.1.3')],
    ['HMAC-SHA-1, which is the default', pbes2(pbkdf2(der.integer(2048)), aes256)],
    ['no rounds', pbes2(pbkdf2(der.integer(0), sha256), aes256)],
    ['so many rounds that opening never ends', pbes2(pbkdf2(der.integer(2 ** 40), sha256), aes256)],
    [
      'a key length that does not fit the cipher',
      pbes2(pbkdf2(der.integer(1), der.integer(16), sha256), aes256),
    ],
    [
      'an initialization vector that is too short',
      pbes2(
        pbkdf2(der.integer(1), sha256),
        der.sequence(der.oid('2.16.840.1.101.3.4.1.42'), der.octetString(new Uint8Array(8))),
      ),
    ],
  ])('refuses %s', async (_, bytes) => {
    expect(await codeOf(() => readProtection(bytes))).toBe('key-protection-unsupported');
  });

  it('any bytes give parameters or a coded refusal', () => {
    const whole = pbes2(pbkdf2(der.integer(2048), sha256), aes256);
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (bytes) => refusesInCode(() => readProtection(bytes))),
    );
    fc.assert(
      fc.property(fc.nat(whole.length - 1), fc.nat(255), (at, value) => {
        const changed = whole.slice();
        changed[at] = value;
        refusesInCode(() => readProtection(changed));
      }),
    );
  });
});

function refusesInCode(read: () => unknown): void {
  try {
    read();
  } catch (error) {
    if (!(error instanceof KeyError || error instanceof DerError)) throw error;
  }
}
