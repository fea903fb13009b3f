import { createHash } from 'node:crypto';
import * as fs from 'node:fs';
import { readFileSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { createContentKeyFor } from '../../src/authority/index.ts';
import { createSecretSource } from '../../src/keys/index.ts';
import { seal } from '../../src/release/index.ts';
import {
  addClass,
  type Disk,
  keyPaths,
  openWorkspace,
  readClass,
  readCounter,
  verifyLedger,
} from '../../src/workspace/index.ts';
import {
  editClass,
  expectNothingSealed,
  failure,
  firmware,
  makeSigner,
  prepared,
  request,
  secrets,
} from './setup.ts';

const DAY = 86_400_000;

describe('the signer', () => {
  test('trade.md 5: an expired signer certificate is refused when sealing, with its dates, clock on the unit or not', async () => {
    const at = await prepared({ now: () => new Date(Date.now() + 826 * DAY) });
    const error = await failure(() => seal(request(at)));
    expect(error.code).toBe('signer-dates');
    expect(error.message).toMatch(
      /has expired: valid from \d{4}-\d\d-\d\dT.* to \d{4}-\d\d-\d\dT.*, now \d{4}-/,
    );
    expectNothingSealed(at);
    expect(readCounter(at.workspace, 'vent').last).toBe(0n);
  });

  test('a clock years behind is refused the same way, and the message says to look at the clock', async () => {
    const at = await prepared({ now: () => new Date('2001-01-01T00:00:00Z') });
    const error = await failure(() => seal(request(at)));
    expect(error.code).toBe('signer-dates');
    expect(error.message).toContain('not valid yet');
    expect('hint' in error && error.hint).toContain('check the clock');
  });

  test('a class may shorten the time in which a certificate seals', async () => {
    const at = await prepared({ now: () => new Date(Date.now() + 40 * DAY) });
    editClass(at.workspace, 'vent', '# seal_within_days: 730', 'seal_within_days: 30');
    const error = await failure(() => seal(request(at)));
    expect(error.code).toBe('signer-dates');
    expect(error.message).toContain('may seal for 30 days after its start');
  });

  test('of several signers that cover the class one must be named; one that covers another class is refused', async () => {
    const at = await prepared();
    await makeSigner(at.workspace, 'line-2', {});
    await makeSigner(at.workspace, 'twin-only', { classes: [await readClass(at.workspace, 'twin')] });
    const several = await failure(() => seal(request(at)));
    expect(several.code).toBe('signer-several');
    expect(several.message).toContain('line-1, line-2');
    expect((await failure(() => seal(request(at, { signers: ['twin-only'] })))).code).toBe('signer-scope');
    const { json } = await seal(request(at, { signers: ['line-2'] }));
    expect(json.signer).toMatchObject({ name: 'line-2' });
  });

  test('draft-ietf-suit-mti 5.2: a signer of another algorithm than the class profile is refused', async () => {
    const at = await prepared();
    await makeSigner(at.workspace, 'edwards', { type: 'ed25519' });
    const error = await failure(() => seal(request(at, { signers: ['edwards'] })));
    expect(error.code).toBe('signer-algorithm');
    expect(error.message).toContain('signs with Ed25519, units of class vent take only ESP256');
    editClass(at.workspace, 'vent', 'suit-sha256-esp256-ecdh-a128ctr', 'suit-sha256-ed25519-ecdh-a128ctr');
    expect((await seal(request(at))).json.signer).toMatchObject({ name: 'edwards', algorithm: 'Ed25519' });
  });

  test('a signer below the generation that the class asks for is refused', async () => {
    const at = await prepared();
    editClass(at.workspace, 'vent', 'minimum_signer_generation: 0', 'minimum_signer_generation: 2');
    const error = await failure(() => seal(request(at)));
    expect(error.code).toBe('signer-unfit');
    expect(error.message).toContain('generation 1, at least 2');
  });

  test('RFC 5280 6.1: a chain that does not lead to a root of the workspace is refused', async () => {
    const [at, other] = [await prepared(), await prepared()];
    rmSync(keyPaths(other.workspace, 'root').certificates);
    expect((await failure(() => seal(request(other)))).code).toBe('signer-chain');
    expect((await seal(request(at))).json.sequence_number).toBe(1);
  });

  test('a root, a class key, and a name that is no key are no signers', async () => {
    const at = await prepared();
    for (const signer of ['root', 'dosing'])
      expect((await failure(() => seal(request(at, { signers: [signer] })))).code).toMatch(/^signer-/);
    expect((await failure(() => seal(request(at, { signers: ['nobody'] })))).code).toBe('not-found');
    rmSync(keyPaths(at.workspace, 'line-1').description);
    expect((await failure(() => seal(request(at)))).code).toBe('signer-none');
    expectNothingSealed(at);
  });

  test('a trial signer does not seal in a workspace that calls itself production, and neither does a trial class key', async () => {
    const at = await prepared();
    const path = at.workspace.path('fieldseal.yaml');
    writeFileSync(path, readFileSync(path, 'utf8').replace('kind: trial', 'kind: production'));
    for (const name of ['vent', 'dosing']) editClass(at.workspace, name, '# approvals: 1', 'approvals: 0');
    const workspace = await openWorkspace(at.workspace.root);
    expect((await failure(() => seal(request({ ...at, workspace })))).code).toBe('signer-trial');
    expect((await failure(() => seal(request({ ...at, workspace }, { className: 'dosing' })))).code).toBe(
      'key-trial',
    );
    expectNothingSealed(at);
  });

  test('a wrong passphrase is said to be one, and uses up nothing', async () => {
    const at = await prepared();
    const wrong = createSecretSource({
      production: false,
      environment: { FIELDSEAL_PASSPHRASE: 'another passphrase' },
    });
    expect((await failure(() => seal(request(at, { secrets: wrong })))).code).toBe('passphrase-wrong');
    const none = createSecretSource({
      production: false,
      environment: {},
      terminal: { interactive: false, askHidden: async () => undefined },
    });
    expect((await failure(() => seal(request(at, { secrets: none })))).code).toBe('passphrase-missing');
    expectNothingSealed(at);
    expect(readCounter(at.workspace, 'vent').last).toBe(0n);
  });

  test('a symmetric class without a key is told how to get one', async () => {
    const at = await prepared();
    for (const name of ['dosing', 'dosing.north']) rmSync(keyPaths(at.workspace, name).description);
    expect((await failure(() => seal(request(at, { className: 'dosing' })))).code).toBe('mac-key-none');
  });
});

describe('the number', () => {
  test('a clone is refused before it is asked for a passphrase or a key, and told how to claim the counter', async () => {
    const at = await prepared();
    rmSync(at.workspace.path('private'), { recursive: true });
    const error = await failure(() => seal(request(at)));
    expect(error.code).toBe('counter-missing');
    expect('hint' in error && error.hint).toContain('counter claim vent');
    expectNothingSealed(at);
  });

  test('an explicit number that is used, or jumps, is refused before anything is read', async () => {
    const at = await prepared();
    const images = [{ path: join(at.folder, 'none.bin') }];
    expect((await failure(() => seal(request(at, { images, sequence: 0n })))).code).toBe('number-used');
    expect((await failure(() => seal(request(at, { images, sequence: 5000n })))).code).toBe('number-jump');
    expect((await seal(request(at, { sequence: 5000n, allowJump: true }))).json.sequence_number).toBe(5000);
  });
});

describe('the image', () => {
  const cases: [string, (path: string) => void, string][] = [
    [
      'a picture called .hex',
      (path) => writeFileSync(path, Buffer.from('89504e470d0a1a0a0000000d49484452', 'hex')),
      'wrong-kind',
    ],
    ['an empty file', (path) => writeFileSync(path, ''), 'empty'],
    ['an image of 2 GiB for a slot of 256 KiB', (path) => truncateSync(path, 2 ** 31), 'too-large'],
    [
      'a stack pointer outside RAM',
      (path) => writeFileSync(path, firmware(600, 1).fill(0xff, 0, 4)),
      'stack-pointer',
    ],
  ];
  test.each(cases)('%s is refused before anything is used up', async (_, make, code) => {
    const at = await prepared();
    make(at.image);
    expect((await failure(() => seal(request(at)))).code).toBe(code);
    expectNothingSealed(at);
    expect(readCounter(at.workspace, 'vent').last).toBe(0n);
  });

  test('an image written to while it is sealed is noticed, and nothing comes out', async () => {
    const at = await prepared();
    const progress = ({ doing }: { doing: string }) =>
      doing === 'reading' && writeFileSync(at.image, firmware(6000, 9));
    const error = await failure(() => seal(request(at, { progress })));
    expect(['self-check-failed', 'image-changed']).toContain(error.code);
    expectNothingSealed(at);
    const detached = await failure(() => seal(request(at, { progress, detached: true })));
    expect(detached.code).toBe('image-changed');
    expectNothingSealed(at);
  });
});

describe('the disk', () => {
  /** A disk on which one call fails from its n-th use after `arm` on. */
  function failing(call: 'writeSync' | 'fsyncSync' | 'linkSync', code: string) {
    const real = { ...fs }[call] as (...args: unknown[]) => unknown;
    let left = Number.POSITIVE_INFINITY;
    const broken = (...args: unknown[]) => {
      left -= 1;
      if (left < 0) throw Object.assign(new Error(code), { code });
      return real(...args);
    };
    return { disk: { ...fs, [call]: broken } as Disk, arm: (uses: number) => (left = uses) };
  }

  test('disk full at every write of a seal: no half payload, the ledger verifies, the number stays used, the next seal works', async () => {
    let survived = false;
    for (let uses = 0; !survived && uses < 40; uses++) {
      const { disk, arm } = failing('writeSync', 'ENOSPC');
      const at = await prepared({ disk });
      arm(uses);
      try {
        await seal(request(at));
        survived = true;
      } catch (error) {
        expect(error).toMatchObject({ code: 'disk-full' });
        expect(fs.existsSync(join(at.folder, 'vent.suit'))).toBe(false);
        expect(fs.readdirSync(at.folder).filter((name) => name.endsWith('.part'))).toEqual([]);
      }
      arm(Number.POSITIVE_INFINITY);
      expect(verifyLedger(at.workspace).findings).toEqual([]);
      const used = readCounter(at.workspace, 'vent').last;
      const { json } = await seal(request(at, { out: join(at.folder, 'next.suit') }));
      expect(json.sequence_number).toBe(Number(used + 1n));
      expect(verifyLedger(at.workspace).findings).toEqual([]);
    }
    expect(survived).toBe(true);
  });

  test('the error of a full disk names the number that stays used', async () => {
    const { disk, arm } = failing('writeSync', 'ENOSPC');
    const at = await prepared({ disk });
    arm(1);
    const error = await failure(() => seal(request(at)));
    expect(error.message).toContain(
      'the disk is full; no payload was left behind, and sequence number 1 stays used',
    );
  });

  // The fifth piece is the tag of the AEAD.
  test.each([
    [0, 'a128ctr'],
    [1, 'a128ctr'],
    [3, 'a128ctr'],
    [4, 'a128gcm'],
  ])(
    'disk full after %i pieces of a ciphertext (%s): nothing stays, and no number is used',
    async (good, cipher) => {
      let left = Number.POSITIVE_INFINITY;
      const write = ((...args: Parameters<typeof fs.write>) => {
        if (left-- > 0) return fs.write(...args);
        const done = args.at(-1) as unknown as (error: Error) => void;
        return setImmediate(done, Object.assign(new Error('ENOSPC'), { code: 'ENOSPC' }));
      }) as Disk['write'];
      const at = await prepared({ disk: { ...fs, write } });
      const size = 1_000_000;
      const veiled = { name: 'veiled', model: 'BIG-2', scheme: 'asymmetric', slotSize: 1 << 20 } as const;
      await addClass(at.workspace, veiled);
      editClass(at.workspace, 'veiled', 'ecdh-a128ctr', `ecdh-${cipher}`);
      editClass(at.workspace, 'veiled', 'confidentiality: none', 'confidentiality: image\nrecipients: class');
      writeFileSync(at.image, firmware(size, 3));
      const deviceClass = await readClass(at.workspace, 'veiled');
      await createContentKeyFor(at.workspace, deviceClass, undefined, { people: [], backups: [] }, secrets);
      left = good;
      const detached = request(at, { className: 'veiled', detached: true });
      expect(await failure(() => seal(detached))).toMatchObject({ code: 'disk-full' });
      expectNothingSealed(at);
      expect(readCounter(at.workspace, 'veiled').last).toBe(0n);
      left = Number.POSITIVE_INFINITY;
      await seal(detached);
      expect(fs.statSync(join(at.folder, 'vent.suit.bin')).size).toBe(size + (cipher === 'a128gcm' ? 16 : 0));
    },
  );

  test('what another thread cannot make durable is given to nobody and recorded nowhere', async () => {
    const fsync = ((_: number, done: (error: Error) => void) =>
      setImmediate(done, Object.assign(new Error('EIO'), { code: 'EIO' }))) as unknown as Disk['fsync'];
    const at = await prepared({ disk: { ...fs, fsync } });
    expect((await failure(() => seal(request(at)))).code).toBe('file-trouble');
    expectNothingSealed(at);
  });

  test.each([
    ['fsyncSync', 'EIO', 'file-trouble'],
    ['linkSync', 'EROFS', 'read-only'],
  ] as const)('%s failing with %s leaves no payload', async (call, code, expected) => {
    const { disk, arm } = failing(call, code);
    const at = await prepared({ disk });
    arm(0);
    expect((await failure(() => seal(request(at)))).code).toBe(expected);
    expectNothingSealed(at);
  });

  test('two seals at once on one class: two payloads, two numbers', async () => {
    const at = await prepared();
    const results = await Promise.all(
      ['a', 'b', 'c'].map((name) => seal(request(at, { out: join(at.folder, name) }))),
    );
    expect(results.map(({ json }) => json.sequence_number).sort()).toEqual([1, 2, 3]);
    expect(verifyLedger(at.workspace).intact).toBe(true);
  });

  test('SUIT manifest 4.2 needs the envelope at start-up: one that units have no room for is refused', async () => {
    const at = await prepared();
    const description = 'x'.repeat(9000);
    const error = await failure(() => seal(request(at, { description })));
    expect(error.code).toBe('envelope-too-large');
    expect(error.message).toContain('keep at most 8192 per slot');
    expectNothingSealed(at);
  });

  test('the digest of what is sealed is that of the file, also over many pieces', async () => {
    const at = await prepared();
    editClass(at.workspace, 'vent', 'core: cortex-m', 'core: none');
    editClass(
      at.workspace,
      'vent',
      '{ name: A, address: 0x08000000, size: 256KiB }',
      '{ name: A, address: 0x10000000, size: 16MiB }',
    );
    editClass(
      at.workspace,
      'vent',
      '{ name: B, address: 0x08040000, size: 256KiB }',
      '{ name: B, address: 0x14000000, size: 16MiB }',
    );
    const bytes = firmware(5 * 2 ** 20 + 17, 5);
    writeFileSync(at.image, bytes);
    const { json } = await seal(request(at));
    expect(json.image).toMatchObject({
      digest: createHash('sha256').update(bytes).digest('hex'),
      size_bytes: bytes.length,
    });
  });
});
