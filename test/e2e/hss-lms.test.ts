/** Profile suit-sha256-hsslms-a256kw-a256ctr (draft-ietf-suit-mti 3.6) through the built command, key to running unit. */
import { cpSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { openLeaves, openWorkspace, readKey } from '../../src/workspace/index.ts';
import { askedAndApproved, Bench, cortexImage, twoPeople } from './command.ts';

const PROFILE = 'suit-sha256-hsslms-a256kw-a256ctr';
const bench = new Bench();
const WS = { cwd: 'WS' };
const read = (...path: string[]) => JSON.parse(readFileSync(bench.path(...path), 'utf8'));

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok(`class add vent-q --model VC-3 --scheme asymmetric --profile ${PROFILE}`, WS);
  bench.ok('root create', WS);
  bench.ok('provision vent-q --serial 0001 --out 0001.unit', WS);
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(20_000));
  writeFileSync(bench.path('WS', 'next.bin'), cortexImage(20_000, 0xa5));
});

describe('a signer with an HSS/LMS key', () => {
  it('is made with its warnings on record, and says how many signatures it has', () => {
    const made = bench.ok(
      'signer create line-q --class vent-q --algorithm hss-lms --parameters H5/W4 --json',
      WS,
    ).json;
    expect(made).toMatchObject({
      algorithm: 'HSS-LMS',
      custody: 'file',
      ceremony_record: 'ceremonies/line-q.json',
    });
    const told = made.cautions.join('\n');
    expect(told).toContain('32 signatures and then no more');
    expect(told).toContain('what no witness can show');
    const ceremony = read('WS', 'ceremonies', 'line-q.json');
    expect(ceremony.hss_lms).toMatchObject({ parameters: 'H5/W4', signatures: '32', told: made.cautions });
    const listed = bench.ok('key list --json', WS).json.keys;
    expect(listed.find((key: { name: string }) => key.name === 'line-q').signatures).toEqual({
      ...{ remaining: 32, capacity: 32, few: true, refusal: null },
    });
  });

  it.each([
    ['signer create x --algorithm hss-lms --parameters H5', 'names no parameter sets'],
    ['signer create x --parameters H5/W4', 'are for hss-lms'],
    ['root create --name r2 --algorithm hss-lms', 'hss-lms'],
  ])('%s: wrong use, and nothing is made', (line, says) => {
    const ran = bench.run(line, WS);
    expect(ran.status).toBe(2);
    expect(ran.stderr).toContain(says);
  });
});

describe('sealed by it', () => {
  it('a payload is accepted, installed, started and kept; the record names the leaf', () => {
    const sealed = bench.ok('seal app.bin --class vent-q --version 1.4.0 --out app.suit --json', WS).json;
    expect(sealed.profile).toBe(PROFILE);
    expect(sealed.leaves).toEqual([{ key: 'line-q', fingerprint: sealed.signer.fingerprint, leaf: '0' }]);
    expect(sealed.cautions.join('\n')).toContain('31 more of its 32 signatures');
    expect(read('WS', 'releases', 'vent-q', '1.json').leaves).toEqual(sealed.leaves);
    const check = bench.ok('check app.suit --unit 0001.unit --json', WS).json;
    expect(check).toMatchObject({ verdict: 'accepted', refusal: null, scope: 'unit' });
    bench.ok('install app.suit --unit 0001.unit', WS);
    bench.ok('boot 0001.unit', WS);
    bench.ok('keep 0001.unit', WS);
  });

  it('a changed signature is refused at authentication', () => {
    const genuine = readFileSync(bench.path('WS', 'app.suit'));
    const signature = genuine.indexOf(Buffer.from([0x59, 0x09, 0x30, 0, 0, 0, 0])); // bstr of 2352 bytes
    expect(signature).toBeGreaterThan(0);
    for (const at of [3, 10, 20, 60, 2000, 2354]) {
      const forged = Buffer.from(genuine);
      forged[signature + at]! ^= 1;
      writeFileSync(bench.path('WS', 'forged.suit'), forged);
      const ran = bench.run('check forged.suit --unit 0001.unit --json', WS);
      expect([ran.status, ran.json.refusal.step, ran.json.refusal.code]).toEqual([
        1,
        'authentication',
        'signature-wrong',
      ]);
    }
  });

  it('a stranger with the public key alone finds it authentic (RFC 9802)', () => {
    const { spki } = read('WS', 'keys', 'line-q.json');
    const pem = Buffer.from(spki, 'hex').toString('base64').replace(/.{64}/g, '$&\n');
    writeFileSync(bench.path('line-q.pub'), `-----BEGIN PUBLIC KEY-----\n${pem}\n-----END PUBLIC KEY-----\n`);
    const { json } = bench.ok('check app.suit --key ../line-q.pub --json', WS);
    expect(json).toMatchObject({ verdict: 'accepted', scope: 'authenticity' });
  });

  it('units of other profiles take no such key, and these take no other', () => {
    bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
    bench.ok('signer create both-q --class vent --class vent-q --algorithm hss-lms --parameters H5/W2', WS);
    bench.ok('signer create line-1 --class vent --class vent-q', WS);
    for (const [signer, className] of [
      ['both-q', 'vent'],
      ['line-1', 'vent-q'],
    ]) {
      const line = `seal app.bin --class ${className} --signer ${signer} --version 1.4.0 --out no.suit --json`;
      const ran = bench.run(line, WS);
      expect([ran.status, ran.json.error.code]).toEqual([1, 'signer-algorithm']);
    }
  });
});

describe('what must never sign', () => {
  const seal = 'seal next.bin --class vent-q --signer line-q --version 1.5.0 --out next.suit --json';

  it('a copy of the workspace', () => {
    cpSync(bench.path('WS'), bench.path('COPY'), { recursive: true, preserveTimestamps: true });
    const ran = bench.run(seal, { cwd: 'COPY' });
    expect([ran.status, ran.json.error.code]).toEqual([1, 'leaves-copied']);
    expect(ran.json.error.hint).toContain('cannot be claimed');
    const listed = bench.ok('key list --json', { cwd: 'COPY' }).json.keys;
    const key = listed.find(({ name }: { name: string }) => name === 'line-q');
    expect(key.signatures.refusal).toBe('leaves-copied');
  });

  it('a clone that has claimed its sequence counters', () => {
    const beside = (path: string) => !path.startsWith(bench.path('WS', 'private'));
    cpSync(bench.path('WS'), bench.path('CLONE'), { recursive: true, filter: beside });
    bench.ok('counter claim vent-q --above 5 --reason trial', { cwd: 'CLONE' });
    const ran = bench.run(seal, { cwd: 'CLONE' });
    expect([ran.status, ran.json.error.code]).toEqual([1, 'leaves-missing']);
  });

  it('a key with no leaf left: said in clear words, no sequence number is used up', async () => {
    const workspace = await openWorkspace(bench.path('WS'));
    const leaves = openLeaves(workspace, readKey(workspace, 'line-q'));
    while (leaves.take() < 30n);
    const last = bench.ok(seal, WS).json;
    expect(last.leaves[0].leaf).toBe('31');
    expect(last.cautions.join('\n')).toContain('has made all of its 32 signatures');
    const before = bench.ok('counter show vent-q --json', WS).json;
    const ran = bench.run(`${seal} --force`, WS);
    expect([ran.status, ran.json.error.code]).toEqual([1, 'leaves-used-up']);
    expect(ran.json.error.message).toContain('can never make another');
    expect(bench.ok('counter show vent-q --json', WS).json).toEqual(before);
    bench.ok('ledger check', WS);
  });
});

describe('a production workspace (NIST SP 800-208)', () => {
  const PROD = { cwd: 'PROD' };
  const create = 'signer create line-q --class vent-q --algorithm hss-lms --parameters N24/H5/W4 --json';

  beforeAll(() => {
    bench.environment.FIELDSEAL_ROOT_PASSPHRASE = 'root of the greenhouse';
    bench.ok('init PROD --vendor-domain hollinridge.example --production');
    bench.ok(`class add vent-q --model VC-3 --scheme asymmetric --profile ${PROFILE}`, PROD);
    const made = bench.ok('authority create OFFLINE --vendor-domain hollinridge.example --json').json;
    const { fingerprint } = read('OFFLINE', 'authority.json').key;
    expect(made).toBeDefined();
    bench.ok(`root adopt ../OFFLINE/root-certificate.pem --fingerprint ${fingerprint}`, PROD);
  });

  it('makes such a key in a file by a recorded exception only', () => {
    for (const more of [[], ['--exception', '  ']]) {
      const refused = bench.run(create, { ...PROD, more });
      expect([refused.status, refused.json.error.code]).toEqual([1, 'hss-custody']);
    }
    const more = ['--exception', 'no module with CKM_HSS is to be had before the spring line'];
    const made = bench.ok(create, { ...PROD, more }).json;
    const ceremony = read('PROD', 'ceremonies', 'line-q.json');
    expect(ceremony.hss_lms.custody_exception).toEqual({
      from: expect.stringContaining('SP 800-208'),
      reason: more[1],
    });
    expect(ceremony.leaves).toEqual([{ key: 'line-q', fingerprint: made.fingerprint, leaf: '0' }]);
  });

  it('the offline root certifies its request, which used up leaf 0; the first payload uses leaf 1', () => {
    const { fingerprint } = read('PROD', 'keys', 'line-q.json');
    const request = bench.path('PROD', 'certificates', 'line-q.request.pem');
    bench.ok(`authority sign ${request} --dir OFFLINE --out line-q.pem --fingerprint ${fingerprint}`);
    bench.ok('signer accept line-q ../line-q.pem', PROD);
    writeFileSync(bench.path('PROD', 'app.bin'), cortexImage(20_000));
    twoPeople(bench, 'PROD');
    const asked = askedAndApproved(bench, 'PROD', 'app.bin --class vent-q --version 1.4.0');
    const { leaves } = bench.ok(`seal app.bin --request ${asked} --out app.suit --json`, PROD).json;
    expect(leaves[0].leaf).toBe('1');
  });
});
