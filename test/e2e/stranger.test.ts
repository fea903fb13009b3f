/**
 * Envelopes that others sealed, checked under one key, without workspace and unit. Bytes: draft-ietf-suit-manifest-37
 * Appendix B.1 and B.2 (examples 0 and 1, signed and not), and draft-ietf-suit-firmware-encryption (the manifest under
 * a COSE_Mac0), as published; their keys are examples and secret to nobody.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, COMMAND, cortexImage } from './command.ts';

const EXAMPLE_0 =
  'd86ba2025873825824822f58206658ea560262696dd1f13b782239a064da7c6c5cbaf52fded428a6fc83c7e5af584ad28443a10126a0f658' +
  '40408d0816f9b510749bf6a51b066951e08a4438f849eb092a1ac768eed9de696c1b1dd35d82ef149e6a73a61976ad2cfe78444b80642933' +
  '50a122f332cb49f0da035871a50101020003585fa202818141000458568614a40150fa6b4a53d5ad5fdfbe9de663e4d41ffe02501492af14' +
  '25695e48bf429b2d51f2ab45035824822f582000112233445566778899aabbccddeeff0123456789abcdeffedcba98765432100e1987d001' +
  '0f020f074382030f0943821702';
const EXAMPLE_0_UNSIGNED =
  'd86ba2025827815824822f58206658ea560262696dd1f13b782239a064da7c6c5cbaf52fded428a6fc83c7e5af035871a50101020003585f' +
  'a202818141000458568614a40150fa6b4a53d5ad5fdfbe9de663e4d41ffe02501492af1425695e48bf429b2d51f2ab45035824822f582000' +
  '112233445566778899aabbccddeeff0123456789abcdeffedcba98765432100e1987d0010f020f074382030f0943821702';
const EXAMPLE_1 =
  'd86ba2025873825824822f58201f2e7acca0dc2786f2fe4eb947f50873a6a3cfaa98866c5b02e621f42074daf2584ad28443a10126a0f658' +
  '4027a3d7986eddcc1bee04e1436746408c308ed3c15ac590a1ca0cf96f85671ccac216cb9a1497fc59e21c15f33c95cf75203e25c287b31a' +
  '57d6cd2ef950b27a7a035894a50101020103585fa202818141000458568614a40150fa6b4a53d5ad5fdfbe9de663e4d41ffe02501492af14' +
  '25695e48bf429b2d51f2ab45035824822f582000112233445566778899aabbccddeeff0123456789abcdeffedcba98765432100e1987d001' +
  '0f020f074382030f1458258614a115781b687474703a2f2f6578616d706c652e636f6d2f66696c652e62696e1502030f';
const MAC_EXAMPLE =
  'd86ba2025853825824822f5820037a5c325ce14078a0aadf007428eac659361ad9402a732410bda542fae94e2c582ad18443a10105a0f658' +
  '208d92599011c451a4c5fb69709fa6ca6c0f846d692bdbb3f624ec91f82f9f620a035898a4010102010357a102818152706c61696e746578' +
  '742d6669726d776172651458778414a212582e758c4b7bbae2c4c1d462423e0f0dc3164ffa7b85bb94d4bd6d7ed26ab32feb063385d4d346' +
  '5927ec82cb5e198a5913583ed8608443a10101a1054cf14aab9d81d51f7ad943fe87f6818340a2012204456b69642d31581875603ffc9518' +
  'd794713c8ca8a115a7fb32565a6d59534d62120f';
const EXAMPLE_KEY =
  '3059301306072a8648ce3d020106082a8648ce3d03010703420004' +
  '8496811aae0baaabd26157189eecda26beaa8bf11b6f3fe6e2b5659c85dbc0ad' +
  '3b1f2a4b6c098131c0a36dacd1d78bd381dcdfb09c052db33991db7338b4a896';

const bytes = (hex: string) => Buffer.from(hex, 'hex');
const bench = new Bench();
const put = (name: string, content: Buffer | string) => writeFileSync(bench.path(name), content);

beforeAll(() => {
  put('0.suit', bytes(EXAMPLE_0));
  put('1.suit', bytes(EXAMPLE_1));
  put('0-unsigned.suit', bytes(EXAMPLE_0_UNSIGNED));
  put('mac.suit', bytes(MAC_EXAMPLE));
  put('key.der', bytes(EXAMPLE_KEY));
  execFileSync('openssl', ['pkey', '-pubin', '-inform', 'DER', '-in', 'key.der', '-out', 'key.pem'], {
    cwd: bench.folder,
  });
  bench.environment = { PATH: process.env.PATH, HOME: bench.folder };
});

describe('the published examples', () => {
  it('are authentic and incomplete: the image is not in them; identity, freshness and fit are not judged', () => {
    for (const name of ['0.suit', '1.suit']) {
      const verdict = bench.ok(`check ${name} --key key.pem --json`, { status: 4 }).json;
      expect(verdict).toMatchObject({ scope: 'authenticity', verdict: 'incomplete', refusal: null });
      const outcomes = Object.fromEntries(
        verdict.steps.map(({ step, outcome }: { step: string; outcome: string }) => [step, outcome]),
      );
      expect(outcomes).toMatchObject({
        envelope: 'passed',
        authentication: 'passed',
        manifest: 'passed',
        freshness: 'not judged',
        identity: 'not judged',
        fit: 'not judged',
        content: 'absent',
      });
      expect(verdict.facts.warnings.join(' ')).toMatch(/published example key.*ES256/);
    }
  });

  it('take the key as PEM or DER, and say for people what is wrong with it', () => {
    const told = bench.ok('check 0.suit --key key.der', { status: 4 });
    expect(told.stderr).toMatch(/caution: .*published example key/);
    expect(told.stdout).toContain('incomplete');
  });

  it('know no time: whoever gives one is told that it was not used', () => {
    const told = bench.ok('check 0.suit --key key.der --at 2027-01-01', { status: 4 });
    expect(told.stderr).toMatch(/caution: --at was not used: with --key no unit/);
  });

  it('take the key from another command, through a pipe', () => {
    const line = `${process.execPath} ${COMMAND} check 0.suit --json --key <(cat key.pem)`;
    const ran = spawnSync('bash', ['-c', line], { cwd: bench.folder, encoding: 'utf8' });
    expect([ran.status, JSON.parse(ran.stdout).verdict]).toEqual([4, 'incomplete']);
    bench.ok('check 0.suit --key /dev/zero', { status: 2 });
  });

  it('are refused without signature, with another image, with a bit changed, under another key', () => {
    const refusal = (line: string) => bench.ok(`check ${line} --json`, { status: 1 }).json.refusal.step;
    expect(refusal('0-unsigned.suit --key key.pem')).toBe('authentication');
    put('image.bin', Buffer.alloc(34_768));
    expect(refusal('0.suit --key key.pem --image image.bin')).toBe('image');
    const genuine = bytes(EXAMPLE_0);
    for (const [place, step] of [
      [20, 'envelope'],
      [70, 'authentication'],
      [150, 'envelope'],
      [236, 'envelope'],
    ] as const) {
      const changed = Buffer.from(genuine);
      changed[place]! ^= 1;
      put('changed.suit', changed);
      expect(refusal('changed.suit --key key.pem'), `byte ${place}`).toBe(step);
    }
    execFileSync(
      'sh',
      ['-c', 'openssl ecparam -name prime256v1 -genkey -noout | openssl pkey -pubout > other.pem'],
      {
        cwd: bench.folder,
      },
    );
    expect(refusal('0.suit --key other.pem')).toBe('authentication');
  });

  it('cut anywhere are refused as malformed', () => {
    const genuine = bytes(EXAMPLE_0);
    for (let length = 0; length < genuine.length; length += 19) {
      put('cut.suit', genuine.subarray(0, length));
      expect(bench.ok('check cut.suit --key key.pem --json', { status: 1 }).json.refusal.step).toBe(
        'envelope',
      );
    }
  });

  it('under a MAC: authentic with the published key, refused with another; a PEM file is no MAC key', () => {
    put('mac.hex', `${'61'.repeat(32)}\n`);
    put('mac.raw', Buffer.alloc(32, 0x61));
    put('mac.other', Buffer.alloc(32, 0x62));
    for (const name of ['mac.hex', 'mac.raw']) {
      const { steps } = bench.ok(`check mac.suit --mac-key-file ${name} --json`, { status: 4 }).json;
      expect(steps.find(({ step }: { step: string }) => step === 'authentication').outcome).toBe('passed');
    }
    bench.ok('check mac.suit --mac-key-file mac.other', { status: 1 });
    bench.ok('check mac.suit --mac-key-file key.pem', { status: 2 });
    bench.ok('check mac.suit --key key.pem', { status: 1 });
  });

  it('inspect accounts for every byte of them', () => {
    for (const name of ['0.suit', '1.suit', 'mac.suit']) {
      const { regions, size_bytes: size, diagnostic } = bench.ok(`inspect ${name} --json`).json;
      let at = 0;
      for (const region of regions) {
        expect(region.offset).toBe(at);
        at += region.length;
      }
      expect(at).toBe(size);
      expect(diagnostic).toMatch(/^107\(/);
    }
  });
});

describe('what is no key and no envelope', () => {
  it('a wrong key file is wrong use, and named', () => {
    put('text.txt', 'hello');
    execFileSync('openssl', ['genpkey', '-algorithm', 'rsa', '-out', 'rsa.pem'], {
      cwd: bench.folder,
      stdio: 'pipe',
    });
    execFileSync('openssl', ['pkey', '-in', 'rsa.pem', '-pubout', '-out', 'rsa-public.pem'], {
      cwd: bench.folder,
    });
    put('everybodys.der', Buffer.concat([Buffer.from('302a300506032b6570032100', 'hex'), Buffer.alloc(32)]));
    for (const name of ['text.txt', 'rsa.pem', 'rsa-public.pem', '0.suit', 'everybodys.der']) {
      const ran = bench.ok(`check 0.suit --key ${name} --json`, { status: 2 });
      expect(ran.json.error.message).toContain(name);
      expect(ran.stdout + ran.stderr).not.toContain('BEGIN');
    }
    bench.ok('check 0.suit --key nowhere.pem', { status: 3 });
    bench.ok('check 0.suit', { status: 2 });
    bench.ok('check 0.suit --key key.pem --mac-key-file mac.hex', { status: 2 });
  });

  it('any file can be inspected; what is not understood is told, not guessed', () => {
    put('app.bin', cortexImage(3_000));
    put('picture.png', Buffer.from('\x89PNG\r\n\x1a\n', 'latin1'));
    put('empty.suit', '');
    for (const name of ['app.bin', 'picture.png', 'empty.suit', 'text.txt']) {
      const shown = bench.ok(`inspect ${name} --json`).json;
      expect(shown.regions.reduce((sum: number, { length }: { length: number }) => sum + length, 0)).toBe(
        shown.size_bytes,
      );
      bench.ok(`check ${name} --key key.pem`, { status: 1 });
    }
    bench.ok('inspect nowhere.suit', { status: 3 });
    bench.ok('inspect .', { status: 2 });
  });
});
