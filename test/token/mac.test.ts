import { createDecipheriv, createHmac } from 'node:crypto';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { fromHex } from '../../src/bytes/index.ts';
import {
  type CustodyMacKey,
  createMacKey,
  createWrappingKey,
  inspectTokenKey,
  type KeyDescription,
  type MadeKey,
  openMacKey,
  withMacSecret,
  wrapMacKey,
} from '../../src/keys/index.ts';
import { CK } from '../../src/keys/token/constants.ts';
import { locate } from '../../src/keys/token/locate.ts';
import { loadModule } from '../../src/keys/token/module.ts';
import { TokenSession } from '../../src/keys/token/session.ts';
import { macKeyContract } from '../keys/contract.ts';
import { CREATED, codeOf, PASSPHRASE, scratch, unattended } from '../keys/support.ts';
import { initToken, MISSING, MODULE, PIN, SO_PIN, useOwnTokens } from './softhsm.ts';

const LABEL = 'class-keys';
const STATION_SECRET = new Uint8Array(32).fill(0x5a);
const secrets = unattended({
  FIELDSEAL_PIN: PIN,
  FIELDSEAL_SO_PIN: SO_PIN,
  FIELDSEAL_PASSPHRASE: PASSPHRASE,
});
const access = { file: '', secrets, production: true, module: MODULE };

describe.skipIf(MISSING !== '')('PKCS#11: a class key in a token', () => {
  useOwnTokens();
  const folder = scratch();
  let made: MadeKey<CustodyMacKey>;
  let trusted: KeyDescription;
  let untrusted: KeyDescription;
  let secret: Uint8Array;

  beforeAll(async () => {
    initToken(LABEL);
    const naming = { purpose: 'class', trial: false, created: CREATED } as const;
    made = await createMacKey({ ...naming, name: 'dosing', place: place('dosing') }, secrets);
    made.key.close();
    trusted = (await station('bench-1', true, STATION_SECRET)).description;
    untrusted = (await station('bench-2', false)).description;
    made = { ...made, key: await openMacKey(made.description, access) };
    secret = await unwrapped(trusted);
  });

  // The secret known here is what a station took out of the wrapping: so the token's HMAC is compared with
  // node:crypto.
  macKeyContract(
    'in a token',
    () => made.key,
    () => secret,
  );

  it('v3.2 4.10: attributes read back: made here, sensitive, wrappable only under a trusted key', () => {
    const found = Object.fromEntries(made.evidence.attributes.map((row) => [row.name, row.found]));
    expect(found).toEqual({
      CKA_TOKEN: 'true',
      CKA_PRIVATE: 'true',
      CKA_SENSITIVE: 'true',
      CKA_EXTRACTABLE: 'true',
      CKA_ALWAYS_SENSITIVE: 'true',
      CKA_LOCAL: 'true',
      CKA_SIGN: 'true',
      CKA_WRAP: 'false',
      CKA_DERIVE: 'false',
      CKA_WRAP_WITH_TRUSTED: 'true',
    });
  });

  it('v3.2 5.7.5: neither it nor the wrapping keys give out their value (CKR_ATTRIBUTE_SENSITIVE)', async () => {
    const session = await TokenSession.open(await loadModule(MODULE), { uri: { token: LABEL }, secrets });
    for (const object of ['dosing', 'bench-1', 'bench-2']) {
      const key = locate(session, { token: LABEL, object }, { CKA_CLASS: CK.classSecretKey });
      expect(() => session.read(key, 'CKA_VALUE')).toThrow('CKR_ATTRIBUTE_SENSITIVE');
    }
    session.close();
  });

  it('RFC 3394: leaves wrapped under the trusted key of a station, which opens it with node:crypto alone', async () => {
    const wrapped = await wrapMacKey(made.description, access, trusted, access);
    expect(wrapped).toMatchObject({
      algorithm: 'A256KW',
      check_value: made.description.fingerprint,
      wrapping_key: { name: 'bench-1', check_value: trusted.fingerprint },
    });
    const bytes = fromHex(wrapped.wrapped);
    expect(bytes).toHaveLength(40);
    const opener = createDecipheriv('id-aes256-wrap', STATION_SECRET, Buffer.alloc(8, 0xa6));
    const key = Buffer.concat([opener.update(bytes), opener.final()]);
    const tag = createHmac('sha256', key).update('x').digest();
    expect(Buffer.from(await made.key.mac(Buffer.from('x'))).equals(tag)).toBe(true);
  });

  it('CKA_WRAP_WITH_TRUSTED: does not leave under a key that the security officer did not mark', async () => {
    expect(await codeOf(() => wrapMacKey(made.description, access, untrusted, access))).toBe(
      'wrap-untrusted',
    );
  });

  it('never leaves under a wrapping key that lies outside the token', async () => {
    const path = join(folder, 'bench-3.pem');
    const request = { name: 'bench-3', purpose: 'station', trial: false, created: CREATED } as const;
    const outside = await createWrappingKey({ ...request, place: { custody: 'file', path } }, secrets);
    const code = await codeOf(() =>
      wrapMacKey(made.description, access, outside.description, { ...access, file: path }),
    );
    expect(code).toBe('key-custody');
    expect(await codeOf(() => withMacSecret(made.description, access, () => 0))).toBe('key-custody');
  });

  it('a class key in a file can be wrapped under a wrapping key in a token', async () => {
    const file = join(folder, 'vent.pem');
    const request = { name: 'vent', purpose: 'class', trial: false, created: CREATED } as const;
    const inFile = await createMacKey({ ...request, place: { custody: 'file', path: file } }, secrets);
    const wrapped = await wrapMacKey(inFile.description, { ...access, file }, trusted, access);
    const opener = createDecipheriv('id-aes256-wrap', STATION_SECRET, Buffer.alloc(8, 0xa6));
    const key = Buffer.concat([opener.update(fromHex(wrapped.wrapped)), opener.final()]);
    const tag = createHmac('sha256', key).update('x').digest();
    expect(Buffer.from(await inFile.key.mac(Buffer.from('x'))).equals(tag)).toBe(true);
  });

  it('wrapping keys read back as never leaving, the trusted one as trusted', async () => {
    const rows = (await inspectTokenKey(trusted, access)).attributes;
    const found = Object.fromEntries(rows.map((row) => [row.name, row.found]));
    expect(found).toMatchObject({ CKA_SENSITIVE: 'true', CKA_EXTRACTABLE: 'false', CKA_TRUSTED: 'true' });
    expect(untrusted.check_value).toMatch(/^[0-9a-f]{16}$/);
  });

  it('a description with another check value is found out on opening', async () => {
    const swapped = {
      ...made.description,
      check_value: '00'.repeat(8),
      fingerprint: '00'.repeat(8),
    };
    expect(await codeOf(() => openMacKey(swapped, access))).toBe('key-differs');
  });

  function station(name: string, isTrusted: boolean, bytes?: Uint8Array) {
    const naming = { name, purpose: 'station', trial: false, created: CREATED } as const;
    const extra = bytes ? { secret: bytes } : {};
    return createWrappingKey({ ...naming, place: place(name), trusted: isTrusted, ...extra }, secrets);
  }

  async function unwrapped(under: KeyDescription): Promise<Uint8Array> {
    const { wrapped } = await wrapMacKey(made.description, access, under, access);
    const opener = createDecipheriv('id-aes256-wrap', STATION_SECRET, Buffer.alloc(8, 0xa6));
    return Buffer.concat([opener.update(fromHex(wrapped)), opener.final()]);
  }
});

function place(object: string) {
  return { custody: 'token', uri: `pkcs11:token=${LABEL};object=${object}`, module: MODULE } as const;
}
