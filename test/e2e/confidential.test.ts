/** Encrypted images through the built command: staged and A/B slots, both schemes, for units, cohorts and a class. */
import { appendFileSync, existsSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const json = { ...WS };
const at = (...parts: string[]) => bench.path('WS', ...parts);

/** Adds a class and has it encrypt. */
function confidential(name: string, options: string, recipients?: string): void {
  bench.ok(`class add ${name} --model ${name.toUpperCase()} ${options}`, WS);
  const file = at('classes', `${name}.yaml`);
  const text = readFileSync(file, 'utf8').replace('confidentiality: none', 'confidentiality: image');
  writeFileSync(file, text);
  if (recipients) appendFileSync(file, `recipients: ${recipients}\n`);
  bench.ok(`class check ${name}`, WS);
}

/** What lies in a slot of a unit file. */
function inSlot(unit: string, slot: string, length: number): Buffer {
  const { regions } = bench.ok(`unit show ${unit} --json`, json).json;
  const { offset } = regions.find(({ name }: { name: string }) => name.endsWith(slot));
  return readFileSync(at(unit)).subarray(offset, offset + length);
}

const image = cortexImage(20_000, 0x33);
const longer = cortexImage(30_000, 0x44);

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('root create', WS);
  writeFileSync(at('app.bin'), image);
  writeFileSync(at('next.bin'), longer);
});

describe.each([
  ['ab', '--scheme asymmetric', 'p256'],
  ['run', '--scheme asymmetric --shape staged', 'p256'],
  ['gcm', '--scheme asymmetric --profile suit-sha256-esp256-ecdh-a128gcm --shape staged', 'p256'],
  ['poly', '--scheme asymmetric --profile suit-sha256-ed25519-ecdh-chacha-poly', 'ed25519'],
] as const)('%s: %s, ECDH-ES+A128KW to each unit on record', (name, options, algorithm) => {
  beforeAll(() => {
    confidential(name, options);
    bench.ok(`signer create s-${name} --class ${name} --algorithm ${algorithm}`, WS);
    for (const serial of ['0001', '0002'])
      bench.ok(`provision ${name} --serial ${serial} --out ${name}-${serial}.unit`, WS);
  });

  it('tells what recipients add, seals, installs, decrypts, runs, keeps, updates', () => {
    const weighed = bench.ok(`recipients ${name} --json`, json).json;
    expect(weighed).toMatchObject({ kind: 'units', count: 2, algorithm: 'ECDH-ES+A128KW' });
    const sealed = bench.ok(
      `seal app.bin --class ${name} --version 1.0.0 --out ${name}.suit --json`,
      json,
    ).json;
    expect(sealed.encryption.recipients).toMatchObject({ count: 2, size_bytes: weighed.size_bytes });
    expect(readFileSync(at(`${name}.suit`)).includes(image.subarray(8, 64))).toBe(false);
    const inspected = bench.ok(`inspect ${name}.suit --json`, json).stdout;
    expect(inspected).toContain('parameter-encryption-info');
    expect(inspected).not.toContain('"problem"');
    for (const serial of ['0001', '0002']) {
      const unit = `${name}-${serial}.unit`;
      bench.ok(`check ${name}.suit --unit ${unit}`, WS);
      bench.ok(`install ${name}.suit --unit ${unit}`, WS);
      const { slot } = bench.ok(`boot ${unit} --json`, json).json;
      expect(inSlot(unit, slot, image.length).equals(image)).toBe(true);
      bench.ok(`keep ${unit}`, WS);
    }
    bench.ok(`seal next.bin --class ${name} --version 1.1.0 --out ${name}-next.suit`, WS);
    bench.ok(`install ${name}-next.suit --unit ${name}-0001.unit`, WS);
    expect(bench.ok(`boot ${name}-0001.unit --json`, json).json.version).toBe('1.1.0');
    expect(readdirSync(at()).filter((file) => file.endsWith('.part'))).toEqual([]);
  });

  it('a unit provisioned later cannot decrypt what was sealed before', () => {
    bench.ok(`provision ${name} --serial 0003 --out ${name}-0003.unit`, WS);
    const before = readFileSync(at(`${name}-0003.unit`));
    const { refusal } = bench.ok(`install ${name}.suit --unit ${name}-0003.unit --json`, {
      ...json,
      status: 1,
    }).json;
    expect(refusal).toMatchObject({ code: 'recipient-missing', step: 'content' });
    expect(readFileSync(at(`${name}-0003.unit`)).equals(before)).toBe(true);
  });

  it('detached: the ciphertext lies beside the envelope, and the plain image is not what units fetch', () => {
    const line = `seal next.bin --class ${name} --version 1.2.0 --detached --out ${name}-d.suit --json`;
    const sealed = bench.ok(line, json).json;
    expect(sealed.images[0].file).toBe(`${name}-d.suit.bin`);
    const unit = `${name}-0002.unit`;
    bench.ok(`check ${name}-d.suit --unit ${unit}`, { ...WS, status: 4 });
    bench.ok(`check ${name}-d.suit --unit ${unit} --image ${name}-d.suit.bin`, WS);
    bench.ok(`check ${name}-d.suit --unit ${unit} --image next.bin`, { ...WS, status: 1 });
    bench.ok(`install ${name}-d.suit --unit ${unit} --image ${name}-d.suit.bin`, WS);
    expect(bench.ok(`boot ${unit} --json`, json).json.version).toBe('1.2.0');
  });
});

it('for one unit only: one recipient, and no other unit takes it', () => {
  const line = 'seal next.bin --class ab --version 1.3.0 --serial 0002 --out one.suit --json';
  expect(bench.ok(line, json).json.encryption.recipients.count).toBe(1);
  bench.ok('check one.suit --unit ab-0002.unit', { ...WS, status: 1 }); // on trial still
  bench.ok('check one.suit --unit ab-0003.unit', { ...WS, status: 1 });
});

it('linked slots: each image has its own content key, and the slot decides', () => {
  confidential('linked', '--scheme asymmetric --shape linked');
  bench.ok('signer create s-linked --class linked', WS);
  bench.ok('provision linked --serial 0001 --out linked.unit', WS);
  const { memory } = bench.ok('class show linked --json', json).json;
  const [a, b] = memory.slots.map(({ address }: { address: number }) => cortexImage(9000, 0x21, address));
  writeFileSync(at('a.bin'), a!);
  writeFileSync(at('b.bin'), b!);
  for (const [version, wanted] of [
    ['1.0.0', a!],
    ['1.1.0', b!],
  ] as const) {
    bench.ok(`seal a.bin --slot-b b.bin --class linked --version ${version} --out l${version}.suit`, WS);
    bench.ok(`install l${version}.suit --unit linked.unit`, WS);
    const { slot } = bench.ok('boot linked.unit --json', json).json;
    expect(inSlot('linked.unit', slot, 9000).equals(wanted)).toBe(true);
    bench.ok('keep linked.unit', WS);
  }
});

describe('the symmetric scheme: A128KW under a key of its own, never the MAC key', () => {
  it('one key for the class', () => {
    confidential('dosing', '--scheme symmetric');
    bench.ok('class-key create dosing', WS);
    const missing = bench.ok('provision dosing --serial 1 --out no.unit', { ...WS, status: 2 });
    expect(missing.stderr).toContain('content-key create dosing');
    expect(existsSync(at('no.unit'))).toBe(false);
    const made = bench.ok('content-key create dosing --json', json).json;
    expect(made).toMatchObject({ name: 'content.dosing', purpose: 'content', algorithm: 'A128KW' });
    bench.ok('provision dosing --serial 0001 --out dosing.unit', WS);
    const sealed = bench.ok(
      'seal app.bin --class dosing --version 1.0.0 --out dosing.suit --json',
      json,
    ).json;
    expect(sealed.encryption.recipients).toMatchObject({ kind: 'class', count: 1, algorithm: 'A128KW' });
    bench.ok('install dosing.suit --unit dosing.unit', WS);
    const { slot } = bench.ok('boot dosing.unit --json', json).json;
    expect(inSlot('dosing.unit', slot, image.length).equals(image)).toBe(true);
    bench.ok('ledger check', WS);
  });

  it('a key for each cohort, staged; a cohort that came later cannot decrypt', () => {
    confidential('pump', '--scheme symmetric --shape staged', 'cohorts');
    for (const cohort of ['north', 'south']) {
      bench.ok(`cohort-key create pump ${cohort}`, WS);
      bench.ok(`content-key create pump --cohort ${cohort}`, WS);
      bench.ok(`provision pump --serial ${cohort} --cohort ${cohort} --out ${cohort}.unit`, WS);
    }
    const sealed = bench.ok('seal app.bin --class pump --version 1.0.0 --out pump.suit --json', json).json;
    expect(sealed.encryption.recipients).toMatchObject({ kind: 'cohorts', count: 2 });
    for (const cohort of ['north', 'south']) {
      bench.ok(`install pump.suit --unit ${cohort}.unit`, WS);
      expect(bench.ok(`boot ${cohort}.unit --json`, json).json.version).toBe('1.0.0');
    }
  });
});

it('an asymmetric class may share a key too: A128KW, as its key agreement wraps', () => {
  confidential('fan', '--scheme asymmetric', 'class');
  bench.ok('signer create s-fan --class fan', WS);
  bench.ok('content-key create fan', WS);
  bench.ok('provision fan --serial 0001 --out fan.unit', WS);
  bench.ok('seal app.bin --class fan --version 1.0.0 --out fan.suit', WS);
  bench.ok('install fan.suit --unit fan.unit', WS);
  expect(bench.ok('boot fan.unit --json', json).json.version).toBe('1.0.0');
});

it('draft-ietf-suit-mti 3.6: HSS/LMS, and A256KW with A256CTR under a key of the class', () => {
  confidential('quiet', '--scheme asymmetric --profile suit-sha256-hsslms-a256kw-a256ctr --shape staged');
  bench.ok('signer create s-quiet --class quiet --algorithm hss-lms --parameters H5/W4', WS);
  expect(bench.ok('content-key create quiet --json', json).json.algorithm).toBe('A256KW');
  bench.ok('provision quiet --serial 0001 --out quiet.unit', WS);
  const sealed = bench.ok('seal app.bin --class quiet --version 1.0.0 --out quiet.suit --json', json).json;
  expect(sealed.encryption).toMatchObject({ algorithm: 'A256CTR', recipients: { algorithm: 'A256KW' } });
  bench.ok('install quiet.suit --unit quiet.unit', WS);
  const { slot } = bench.ok('boot quiet.unit --json', json).json;
  expect(inSlot('quiet.unit', slot, image.length).equals(image)).toBe(true);
});

it('says what cannot be: units under a profile without key agreement, a class without units', () => {
  confidential('lamp', '--scheme asymmetric');
  bench.ok('signer create s-lamp --class lamp', WS);
  const none = bench.ok('seal app.bin --class lamp --version 1 --out lamp.suit', { ...WS, status: 1 });
  expect(none.stderr).toContain('provision units first');
  expect(existsSync(at('lamp.suit'))).toBe(false);
  bench.ok('class add valve --model V --scheme symmetric', WS);
  appendFileSync(at('classes', 'valve.yaml'), 'recipients: units\n');
  expect(bench.run('class check valve', WS).stderr).toContain('cohorts or class');
  rmSync(at('classes', 'valve.yaml'));
});

describe('messages: the envelope itself is encrypted when it is sent', () => {
  it('both: image and message; a stranger reads neither, and a unit judges before it decrypts', () => {
    bench.ok('class add gate --model GATE --scheme asymmetric', WS);
    const file = at('classes', 'gate.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace('confidentiality: none', 'confidentiality: both'));
    bench.ok('signer create s-gate --class gate', WS);
    for (const serial of ['1', '2'])
      bench.ok(`provision gate --serial ${serial} --out gate-${serial}.unit`, WS);
    bench.ok('seal app.bin --class gate --version 7.7.7 --out gate.suit', WS);
    const sent = bench.ok(
      'message encrypt gate.suit --class gate --serial 1 --out gate.message --json',
      json,
    ).json;
    expect(sent).toMatchObject({ format: 'fieldseal.message/1', encryption: { algorithm: 'A128GCM' } });
    const message = readFileSync(at('gate.message'));
    expect(message.includes(Buffer.from('7.7.7'))).toBe(false);
    const other = bench.ok('check gate.message --unit gate-2.unit --json', { ...json, status: 1 }).json;
    expect(other.refusal.code).toBe('message-not-decrypted');
    message[message.length - 1]! ^= 1;
    writeFileSync(at('altered.message'), message);
    const altered = bench.ok('check altered.message --unit gate-1.unit --json', { ...json, status: 1 }).json;
    expect(altered.refusal).toMatchObject({ code: 'message-not-authentic', step: 'envelope' });
    bench.ok('install gate.message --unit gate-1.unit', WS);
    expect(bench.ok('boot gate-1.unit --json', json).json.version).toBe('7.7.7');
    bench.ok('ledger check', WS);
  });

  it('is not rehearsed; which envelope to rehearse in its place is told, whomever it is asked of', () => {
    writeFileSync(at('gate.csv'), 'serial,class\n1,gate\n');
    for (const whom of ['--class gate', '--unit gate-1.unit', '--units gate.csv']) {
      const { error } = bench.ok(`rehearse gate.message ${whom} --json`, { ...json, status: 2 }).json;
      expect(error.code).toBe('rehearsal-message');
      expect(error.message).toMatch(/^gate\.message is an encrypted message and no envelope/);
      expect(error.hint).toMatch(/^rehearse gate\.suit \(release gate\/1\) in its place/);
    }
    const unknown = bench.ok('rehearse altered.message --class gate', { ...WS, status: 2 });
    expect(unknown.stderr).toContain('rehearse the envelope that the message was made of in its place');
    expect(bench.ok('rehearse gate.suit --class gate --json', json).json.outcome).toBe('passed');
  });

  it('is not made for a class that does not ask for it', () => {
    const { stderr } = bench.ok('message encrypt ab.suit --class ab --out no.message', { ...WS, status: 1 });
    expect(stderr).toContain('confidentiality: message');
  });
});
