/** HSS/LMS keys in encrypted files: RFC 8554 section 9.2, RFC 5958, RFC 8018; parameters as small as they go. */
import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync, statSync, unlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { fromHex } from '../../src/bytes/index.ts';
import { sealSign1 } from '../../src/cose/index.ts';
import { parseHssShape, readPublicKey, spentLeaf, verifySignature } from '../../src/crypto/index.ts';
import { readHssSecret, writeHssSecret } from '../../src/keys/hss/secret.ts';
import {
  createHssSigner,
  createSigningKey,
  type KeyDescription,
  type LeafSource,
  openSigner,
  readKeyDescription,
} from '../../src/keys/index.ts';
import { CREATED, codeOf, PASSPHRASE, scratch, withPassphrase } from './support.ts';

const folder = scratch();
const secrets = withPassphrase();
const MESSAGE = Uint8Array.of(1, 2, 3);
const path = (name: string) => join(folder, `${name}.pem`);
let description: KeyDescription;

/** Leaves counted in memory: enough where one process makes and uses the key. */
function countedFrom(first: bigint): LeafSource {
  let next = first;
  return { take: () => next++ };
}

function make(name: string, more: { parameters?: string; trial?: boolean } = {}) {
  return createHssSigner(
    {
      ...{ name, purpose: 'signer', trial: more.trial ?? false, created: CREATED },
      place: { custody: 'file', path: path(name) },
      shape: parseHssShape(more.parameters ?? 'H5/W4,H5/W4')!,
      startLeaves: () => countedFrom(0n),
    },
    secrets,
  );
}

function access(name: string, leaves: LeafSource | undefined = countedFrom(0n), production = false) {
  return { file: path(name), secrets, production, leaves };
}

beforeAll(async () => {
  const made = await make('line-q');
  description = made.description;
  const signature = await made.key.sign(MESSAGE);
  expect(verifySignature(readPublicKey(made.key.publicKey)!, MESSAGE, signature)).toBe(true);
  made.key.close();
});

describe('an HSS/LMS signer', () => {
  it('is described with the parameter sets of every level, which the public key alone does not tell', () => {
    expect(description).toMatchObject({
      algorithm: 'HSS-LMS',
      custody: 'file',
      levels: [
        { lms: 'LMS_SHA256_M32_H5', ots: 'LMOTS_SHA256_N32_W4' },
        { lms: 'LMS_SHA256_M32_H5', ots: 'LMOTS_SHA256_N32_W4' },
      ],
    });
    expect(readKeyDescription(JSON.parse(JSON.stringify(description)))).toEqual(description);
  });

  it('signs with the leaf it is given, each time another, and over tree changes', async () => {
    const signer = await openSigner(description, access('line-q', countedFrom(30n)));
    const key = readPublicKey(signer.publicKey)!;
    const leaves: (bigint | undefined)[] = [];
    for (let i = 0; i < 4; i++) {
      const signature = await signer.sign(MESSAGE);
      expect(verifySignature(key, MESSAGE, signature)).toBe(true);
      leaves.push(spentLeaf(key, signature)?.leaf);
    }
    expect(leaves).toEqual([30n, 31n, 32n, 33n]);
    signer.close();
  });

  it('several signatures at once use several leaves', async () => {
    const signer = await openSigner(description, access('line-q'));
    const key = readPublicKey(signer.publicKey)!;
    const signatures = await Promise.all(Array.from({ length: 5 }, () => signer.sign(MESSAGE)));
    expect(new Set(signatures.map((signature) => spentLeaf(key, signature)?.leaf)).size).toBe(5);
    signer.close();
  });

  it('seals a COSE_Sign1 with alg -46 (RFC 8778)', async () => {
    const signer = await openSigner(description, access('line-q'));
    expect(signer.algorithm).toMatchObject({ id: -46, name: 'HSS-LMS', keyType: 'hss-lms' });
    const sealed = await sealSign1(signer, { payload: MESSAGE });
    expect([...sealed.subarray(0, 6)]).toEqual([0xd2, 0x84, 0x44, 0xa1, 0x01, 0x38]);
    signer.close();
  });

  it('what its leaves refuse reaches whoever signs, and nothing is signed', async () => {
    const refusing = {
      take: () => {
        throw new Error('set back');
      },
    };
    const signer = await openSigner(description, access('line-q', refusing));
    await expect(signer.sign(MESSAGE)).rejects.toThrow('set back');
    signer.close();
  });

  it('takes no leaf once closed', async () => {
    let taken = 0;
    const signer = await openSigner(description, access('line-q', { take: () => BigInt(taken++) }));
    signer.close();
    await expect(signer.sign(MESSAGE)).rejects.toThrow(TypeError);
    expect(taken).toBe(0);
  });

  it('is not opened without its leaves', async () => {
    const without = { file: path('line-q'), secrets, production: false };
    await expect(openSigner(description, without)).rejects.toThrow(TypeError);
  });
});

describe('its file', () => {
  it('RFC 5958, RFC 8018: is an EncryptedPrivateKeyInfo as for every key, for its owner only', () => {
    expect(statSync(path('line-q')).mode & 0o777).toBe(0o600);
    const environment = { ...process.env, P: PASSPHRASE };
    const listing = execFileSync('openssl', ['asn1parse', '-in', path('line-q')], { env: environment });
    expect(listing.toString()).toMatch(/:PBES2\n/);
    expect(listing.toString()).toMatch(/INTEGER +:0927C0\n/);
  });

  it('does not open with another passphrase', async () => {
    const wrong = { ...access('line-q'), secrets: withPassphrase('another one') };
    expect(await codeOf(() => openSigner(description, wrong))).toBe('passphrase-wrong');
  });

  it('of another key is told by its public half', async () => {
    const other = await make('other');
    other.key.close();
    expect(await codeOf(() => openSigner(description, access('other')))).toBe('key-differs');
    expect(await codeOf(() => openSigner(other.description, access('line-q')))).toBe('key-differs');
  });

  it('of another kind of key is told by its kind', async () => {
    const place = { custody: 'file', path: path('p256') } as const;
    const naming = { name: 'p256', purpose: 'signer', trial: false, created: CREATED } as const;
    const made = await createSigningKey({ ...naming, type: 'p256', place }, secrets);
    expect(await codeOf(() => openSigner(description, access('p256')))).toBe('key-differs');
    expect(await codeOf(() => openSigner(made.description, access('line-q')))).toBe('key-differs');
  });

  it('made in a trial bears the mark inside: a production workspace does not take it, whatever git says', async () => {
    const made = await make('trial-q', { trial: true, parameters: 'H5/W2' });
    made.key.close();
    const washed = { ...made.description, trial: false };
    expect(await codeOf(() => openSigner(washed, access('trial-q', undefined, true)))).toBe('key-trial');
  });

  it('that is there is never overwritten, and a name given up half-way stays free', async () => {
    expect(await codeOf(() => make('line-q'))).toBe('key-file-exists');
    const stopped = createHssSigner(
      {
        ...{ name: 'stopped', purpose: 'signer', trial: false, created: CREATED },
        place: { custody: 'file', path: path('stopped') },
        shape: parseHssShape('H5/W4')!,
        startLeaves: () => countedFrom(0n),
        progress: () => {
          throw new Error('stopped');
        },
      },
      secrets,
    );
    await expect(stopped).rejects.toThrow('stopped');
    expect(readdirSync(folder).filter((name) => name.startsWith('stopped'))).toEqual([]);
  });

  it('parameters are needed to make one: a key type alone is not enough', async () => {
    const naming = { name: 'bare', purpose: 'signer', trial: false, created: CREATED } as const;
    const bare = { ...naming, type: 'hss-lms', place: { custody: 'file', path: path('bare') } } as const;
    expect(await codeOf(() => createSigningKey(bare, secrets))).toBe('key-type-unsupported');
  });
});

describe('trees kept beside it', () => {
  const trees = () => readdirSync(folder).filter((name) => name.startsWith('line-q.tree-'));

  it('are one file a level, for the owner only, without the secret', () => {
    expect(trees()).toEqual(['line-q.tree-0', 'line-q.tree-1']);
    for (const name of trees()) expect(statSync(join(folder, name)).mode & 0o777).toBe(0o600);
  });

  it.each(['taken away', 'damaged'])('%s: the key still signs, and they are made anew', async (what) => {
    const before = readFileSync(join(folder, 'line-q.tree-0'));
    for (const name of trees()) {
      if (what === 'damaged') writeFileSync(join(folder, name), before.subarray(0, 100));
      else unlinkSync(join(folder, name));
    }
    const steps: number[] = [];
    const options = { ...access('line-q'), progress: (done: number) => steps.push(done) };
    const signer = await openSigner(description, options);
    expect(verifySignature(readPublicKey(signer.publicKey)!, MESSAGE, await signer.sign(MESSAGE))).toBe(true);
    signer.close();
    expect(steps.length).toBeGreaterThan(0);
    expect(readFileSync(join(folder, 'line-q.tree-0')).equals(before)).toBe(true);
  });
});

describe('descriptions', () => {
  it.each([
    ['no levels', { levels: undefined }],
    ['an unknown set', { levels: [{ lms: 'LMS_SHA256_M32_H6', ots: 'LMOTS_SHA256_N32_W4' }] }],
    ['levels of a P-256 key', { algorithm: 'ESP256' }],
  ])('%s: refused', async (_, change) => {
    expect(await codeOf(() => readKeyDescription({ ...description, ...change }))).toBe(
      'key-description-invalid',
    );
  });
});

describe('the private form', () => {
  const secret = { shape: parseHssShape('N24/H10/W8,N24/H5/W4')!, master: new Uint8Array(32).fill(7) };

  it('is level count, types, master secret; and reads back', () => {
    const bytes = writeHssSecret(secret);
    expect([...bytes.subarray(0, 20)]).toEqual([...fromHex('000000020000000b000000080000000a00000007')]);
    expect(readHssSecret(bytes)).toEqual(secret);
  });

  it.each([
    ['empty', new Uint8Array(0)],
    ['cut', writeHssSecret(secret).subarray(0, -1)],
    ['longer', Uint8Array.of(...writeHssSecret(secret), 0)],
    ['no levels', writeHssSecret(secret).with(3, 0)],
    ['many levels', writeHssSecret(secret).with(0, 255)],
    ['an unknown type', writeHssSecret(secret).with(7, 99)],
  ])('%s: refused as damaged', async (_, bytes) => {
    expect(await codeOf(() => readHssSecret(bytes))).toBe('key-file-damaged');
  });
});
