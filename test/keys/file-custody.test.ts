import { execFileSync } from 'node:child_process';
import { createHmac, createPrivateKey, generateKeyPairSync } from 'node:crypto';
import { readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import {
  createMacKey,
  createSigningKey,
  type KeyDescription,
  openMacKey,
  openRoot,
  openSigner,
  readKeyDescription,
  softwareSigner,
  withMacSecret,
} from '../../src/keys/index.ts';
import { fingerprint, toPem } from '../../src/x509/index.ts';
import { CREATED, codeOf, failureOf, PASSPHRASE, scratch, withPassphrase } from './support.ts';

const folder = scratch();
const secrets = withPassphrase();
const production = false;
const descriptions: Record<string, KeyDescription> = {};
const path = (name: string) => join(folder, `${name}.pem`);
const access = (name: string) => ({ file: path(name), secrets, production });

beforeAll(async () => {
  await Promise.all([
    make('p256', 'p256', true),
    make('ed25519', 'ed25519', false),
    make('root', 'p256', false, 'root'),
    makeClassKey(),
  ]);
});

describe('openssl reads what is written here', () => {
  it.each(['p256', 'ed25519', 'root'])('openssl pkey opens %s and prints the same public key', (name) => {
    const der = openssl(['pkey', '-in', path(name), '-passin', 'env:P', '-pubout', '-outform', 'DER']);
    expect(toHex(der)).toBe(descriptions[name]!.spki);
  });

  it('RFC 8018 A.4: the file is PBES2 with PBKDF2-HMAC-SHA256 at 600,000 rounds and AES-256-CBC', () => {
    const listing = openssl(['asn1parse', '-in', path('p256')]).toString();
    expect(listing).toMatch(/:PBES2\n/);
    expect(listing).toMatch(/:PBKDF2\n/);
    expect(listing).toMatch(/INTEGER +:0927C0\n/); // 600,000
    expect(listing).toMatch(/:hmacWithSHA256\n/);
    expect(listing).toMatch(/:aes-256-cbc\n/);
  });

  it('RFC 5958 2: the trial mark stands inside the key as friendlyName, seen by openssl alone', () => {
    const mark = Buffer.from('fieldseal TRIAL key', 'utf16le').swap16().toString('hex');
    expect(decrypted('p256')).toContain(mark);
    expect(decrypted('class')).toContain(mark);
    expect(decrypted('ed25519')).not.toContain(mark);
  });

  it('node:crypto reads it too', () => {
    const key = createPrivateKey({ key: readFileSync(path('p256')), passphrase: PASSPHRASE });
    expect(toHex(softwareSigner(key).publicKey)).toBe(descriptions.p256!.spki);
  });
});

describe('what openssl writes is read here', () => {
  const made = generateKeyPairSync('ec', { namedCurve: 'prime256v1' });
  const spki = new Uint8Array(made.publicKey.export({ format: 'der', type: 'spki' }));
  const plainFile = join(folder, 'plain.key');
  const description = readKeyDescription({
    format: 'fieldseal.key/1',
    name: 'brought',
    purpose: 'signer',
    custody: 'file',
    algorithm: 'ESP256',
    spki: toHex(spki),
    fingerprint: fingerprint(spki),
    trial: false,
    created: CREATED.toISOString(),
  });

  beforeAll(() => writeFileSync(plainFile, made.privateKey.export({ format: 'pem', type: 'pkcs8' })));

  it.each([
    ['aes-256-cbc', 'hmacWithSHA256'],
    ['aes-128-cbc', 'hmacWithSHA256'],
    ['aes-192-cbc', 'hmacWithSHA512'],
    ['aes-256-cbc', 'hmacWithSHA384'],
  ])('openssl pkcs8 -topk8 -v2 %s -v2prf %s', async (cipher, prf) => {
    const file = join(folder, `${cipher}-${prf}.pem`);
    convert(file, ['-v2', cipher, '-v2prf', prf]);
    const signer = await openSigner(description, { file, secrets, production: true });
    expect(signer.publicKey).toEqual(spki);
  });

  it.each([
    ['PBES1, older than PBES2', ['-v1', 'PBE-SHA1-3DES']],
    ['PBKDF2 with SHA-1', ['-v2', 'aes-256-cbc', '-v2prf', 'hmacWithSHA1']],
    ['scrypt', ['-scrypt']],
  ])('refuses %s and says how to convert', async (title, options) => {
    const file = join(folder, `${title.replaceAll(/\W/g, '-')}.pem`);
    convert(file, options);
    const error = await failureOf(() => openSigner(description, { file, secrets, production: true }));
    expect(error.code).toBe('key-protection-unsupported');
    expect(error.hint).toContain('openssl pkcs8 -topk8');
  });

  it('refuses a key that is not encrypted', async () => {
    const error = await failureOf(() =>
      openSigner(description, { file: plainFile, secrets, production: true }),
    );
    expect(error.code).toBe('key-protection-unsupported');
    expect(error.message).toContain('not encrypted');
  });

  it('refuses a key that is neither P-256 nor Ed25519', async () => {
    const file = join(folder, 'p384.pem');
    const other = generateKeyPairSync('ec', { namedCurve: 'secp384r1' }).privateKey;
    writeFileSync(plainFile.replace('plain', 'p384'), other.export({ format: 'pem', type: 'pkcs8' }));
    convert(file, ['-v2', 'aes-256-cbc'], 'p384.key');
    expect(await codeOf(() => openSigner(description, { file, secrets, production: true }))).toBe(
      'key-type-unsupported',
    );
  });

  function convert(file: string, options: readonly string[], from = 'plain.key'): void {
    openssl(['pkcs8', '-topk8', ...options, '-in', join(folder, from), '-out', file, '-passout', 'env:P']);
  }
});

describe('files are safe by construction', () => {
  it('mode 0600, nothing left beside them', () => {
    for (const name of ['p256', 'class']) expect(statSync(path(name)).mode & 0o777).toBe(0o600);
    expect(readdirSync(folder).filter((name) => name.startsWith('.'))).toEqual([]);
  });

  it('a key file is never overwritten, and no passphrase is asked for then', async () => {
    const before = readFileSync(path('p256'));
    const noSecrets = withPassphrase('');
    const place = { custody: 'file', path: path('p256') } as const;
    const request = {
      name: 'p256',
      purpose: 'signer',
      trial: true,
      created: CREATED,
      type: 'p256',
      place,
    } as const;
    expect(await codeOf(() => createSigningKey(request, noSecrets))).toBe('key-file-exists');
    expect(readFileSync(path('p256'))).toEqual(before);
  });

  it('a folder that is not there: coded, nothing made', async () => {
    const place = { custody: 'file', path: join(folder, 'nowhere', 'k.pem') } as const;
    const request = { name: 'k', purpose: 'class', trial: true, created: CREATED, place } as const;
    expect(await codeOf(() => createMacKey(request, secrets))).toBe('key-file-unwritable');
  });
});

describe('opening', () => {
  it('a wrong passphrase: a plain sentence without it, whatever the padding says', async () => {
    const wrong = 'quite another passphrase';
    const error = await failureOf(() =>
      openSigner(descriptions.p256!, { ...access('p256'), secrets: withPassphrase(wrong) }),
    );
    expect(error.code).toBe('passphrase-wrong');
    expect(error.message).toMatch(/^The passphrase does not open this key file\./);
    const shown = [error.message, error.hint, error.stack, JSON.stringify(error)].join();
    for (const secret of [wrong, PASSPHRASE]) expect(shown).not.toContain(secret);
  });

  it('a file that is missing, cut off, or no PEM', async () => {
    expect(await codeOf(() => openSigner(descriptions.p256!, access('gone')))).toBe('key-file-missing');
    const whole = readFileSync(path('p256'), 'utf8');
    writeFileSync(path('cut'), whole.slice(0, whole.length / 2));
    expect(await codeOf(() => openSigner(descriptions.p256!, access('cut')))).toBe('key-file-damaged');
    writeFileSync(path('text'), 'not a key');
    expect(await codeOf(() => openSigner(descriptions.p256!, access('text')))).toBe('key-file-damaged');
    writeFileSync(path('der'), toPem('ENCRYPTED PRIVATE KEY', fromHex('3003020100')));
    expect(await codeOf(() => openSigner(descriptions.p256!, access('der')))).toBe('key-file-damaged');
    expect(await codeOf(() => openSigner(descriptions.p256!, { ...access(''), file: folder }))).toBe(
      'key-file-unreadable',
    );
  });

  it('another key than the description names', async () => {
    expect(await codeOf(() => openSigner(descriptions.ed25519!, access('p256')))).toBe('key-differs');
    expect(await codeOf(() => openMacKey(descriptions.class!, access('p256')))).toBe('key-differs');
    expect(await codeOf(() => openSigner(descriptions.p256!, access('class')))).toBe('key-differs');
  });

  it('a class key: its check value is on record, its bytes are lent and then zeroed', async () => {
    let kept = new Uint8Array();
    const tag = await withMacSecret(descriptions.class!, access('class'), (secret) => {
      kept = secret as Uint8Array<ArrayBuffer>;
      return createHmac('sha256', secret).update('fieldseal check value').digest('hex');
    });
    expect(tag.slice(0, 16)).toBe(descriptions.class!.check_value);
    expect(kept).toEqual(new Uint8Array(32));
  });

  it('sealing cannot open the root, and issuing cannot use a signer', async () => {
    expect(await codeOf(() => openSigner(descriptions.root!, access('root')))).toBe('key-purpose');
    expect(await codeOf(() => openRoot(descriptions.p256!, access('p256')))).toBe('key-purpose');
    expect(await codeOf(() => openMacKey(descriptions.root!, access('root')))).toBe('key-purpose');
  });

  it('in production a trial key is refused by the mark in the file, whatever its description says', async () => {
    const passedOff = { ...descriptions.p256!, trial: false };
    const error = await failureOf(() => openSigner(passedOff, { ...access('p256'), production: true }));
    expect(error.code).toBe('key-trial');
    const honest = await openSigner(descriptions.ed25519!, { ...access('ed25519'), production: true });
    expect(honest.algorithm.name).toBe('Ed25519');
  });

  it('an offline key is not opened here', async () => {
    const offline = { ...descriptions.root!, custody: 'offline' } as const;
    expect(await codeOf(() => openRoot(offline, access('root')))).toBe('key-custody');
  });
});

async function make(
  name: string,
  type: 'p256' | 'ed25519',
  trial: boolean,
  purpose: 'root' | 'signer' = 'signer',
) {
  const place = { custody: 'file', path: path(name) } as const;
  const made = await createSigningKey({ name, purpose, trial, created: CREATED, type, place }, secrets);
  descriptions[name] = made.description;
}

async function makeClassKey() {
  const place = { custody: 'file', path: path('class') } as const;
  const request = { name: 'class', purpose: 'class', trial: true, created: CREATED, place } as const;
  descriptions.class = (await createMacKey(request, secrets)).description;
}

function openssl(args: readonly string[]): Buffer {
  return execFileSync('openssl', args, { env: { ...process.env, P: PASSPHRASE }, stdio: 'pipe' });
}

/** The plain PrivateKeyInfo in hexadecimal, decrypted with openssl's own tools. */
function decrypted(name: string): string {
  const listing = openssl(['asn1parse', '-in', path(name)]).toString();
  const octets = [...listing.matchAll(/OCTET STRING +\[HEX DUMP\]:([0-9A-F]+)/g)].map((match) => match[1]!);
  const [salt, iv, encrypted] = octets as [string, string, string];
  const key = openssl([
    ...['kdf', '-keylen', '32', '-kdfopt', 'digest:SHA256', '-kdfopt', `pass:${PASSPHRASE}`],
    ...['-kdfopt', `hexsalt:${salt}`, '-kdfopt', 'iter:600000', '-binary', 'PBKDF2'],
  ]);
  const args = ['enc', '-d', '-aes-256-cbc', '-K', key.toString('hex'), '-iv', iv];
  return execFileSync('openssl', args, { input: fromHex(encrypted) }).toString('hex');
}
