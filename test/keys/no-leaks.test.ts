/** No error shows a passphrase, a PIN, or key bytes: neither in its message, nor its hint, nor its stack. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { inspect } from 'node:util';
import { beforeAll, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import {
  createMacKey,
  createSigningKey,
  createWrappingKey,
  type KeyDescription,
  openMacKey,
  openSigner,
  parseTokenUri,
  unwrapKey,
  withMacSecret,
  wrapKey,
} from '../../src/keys/index.ts';
import { CREATED, failureOf, scratch, unattended } from './support.ts';

const folder = scratch();
const PASSPHRASE = 'sentinel-passphrase-8841';
const PIN = 'sentinel-pin-5527';
const SECRET = Uint8Array.from({ length: 32 }, (_, i) => 0xc0 + i);
const MARKS = [PASSPHRASE, PIN, toHex(SECRET), Buffer.from(SECRET).toString('base64')];

const secrets = unattended({ FIELDSEAL_PASSPHRASE: PASSPHRASE, FIELDSEAL_PIN: PIN });
const file = join(folder, 'class.pem');
const access = { file, secrets, production: false };
const naming = { name: 'k', trial: true, created: CREATED } as const;
const inToken = { custody: 'token', uri: 'pkcs11:token=desk', module: '/nowhere/token.so' } as const;
let description: KeyDescription;
let secretKept = '';

beforeAll(async () => {
  const place = { custody: 'file', path: file } as const;
  ({ description } = await createMacKey({ ...naming, purpose: 'class', place }, secrets));
  secretKept = await withMacSecret(description, access, toHex);
  writeFileSync(join(folder, 'damaged.pem'), 'damaged');
});

const failures: [string, () => unknown][] = [
  ['wrong passphrase', () => openMacKey(description, { ...access, secrets: other(`${PASSPHRASE}x`) })],
  ['weak passphrase', () => newKey('weak', other('', true))],
  ['damaged file', () => openMacKey(description, { ...access, file: join(folder, 'damaged.pem') })],
  ['missing file', () => openMacKey(description, { ...access, file: join(folder, 'absent.pem') })],
  ['another key than described', () => openMacKey({ ...description, check_value: '00' }, access)],
  ['another purpose', () => openSigner(description, access)],
  ['trial key in production', () => openMacKey(description, { ...access, production: true })],
  ['unwritable file', () => newKey('no/folder', secrets)],
  ['file that exists', () => newKey('class', secrets)],
  ['wrapping that was changed', () => unwrapKey(SECRET, wrapKey(new Uint8Array(32), SECRET))],
  ['key of a wrong length to wrap', () => wrapKey(SECRET, SECRET.subarray(1))],
  ['wrapping key of a wrong length', () => wrapping(SECRET.subarray(1))],
  ['PIN in a URI', () => parseTokenUri(`pkcs11:token=desk?pin-value=${PIN}`)],
  ['PIN in the path of a URI', () => parseTokenUri(`pkcs11:token=desk;pin-value=${PIN}`)],
  [
    'module that cannot be loaded',
    () => createSigningKey({ ...naming, purpose: 'signer', type: 'p256', place: inToken }, secrets),
  ],
];

it.each(failures)('%s', async (_, work) => {
  const error = await failureOf(work);
  const shown = `${inspect(error, { depth: 9 })} ${error.stack} ${error.message} ${error.hint}`;
  for (const mark of [...MARKS, secretKept]) expect(shown).not.toContain(mark);
});

function other(passphrase: string, production = false) {
  return unattended({ FIELDSEAL_PASSPHRASE: passphrase }, production);
}

function newKey(name: string, from: typeof secrets) {
  const place = { custody: 'file', path: join(folder, `${name}.pem`) } as const;
  return createMacKey({ ...naming, purpose: 'class', place }, from);
}

function wrapping(secret: Uint8Array) {
  const place = { custody: 'file', path: join(folder, 'station.pem') } as const;
  return createWrappingKey({ ...naming, purpose: 'station', place, secret }, secrets);
}
