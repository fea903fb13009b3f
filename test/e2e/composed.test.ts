/**
 * A class whose units have a radio co-processor, through the built command: its image comes from Marl, an invented maker of
 * radios with a workspace, a root and a signer of its own (draft-ietf-suit-trust-domains; docs/deployment-profile.md).
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage, lastBytes } from './command.ts';

const bench = new Bench();
const OWN = { cwd: 'OWN' };
const MARL = { cwd: 'MARL' };
const own = (...parts: string[]) => bench.path('OWN', ...parts);
const RADIO = Buffer.from(Uint8Array.from({ length: 9000 }, (_, i) => (i * 7 + (i >> 5)) & 0xff));

function append(file: string, lines: string): void {
  writeFileSync(file, `${readFileSync(file, 'utf8')}\n${lines}\n`);
}

/** Puts lines into the memory map of a class file. */
function intoMemory(file: string, lines: string): void {
  writeFileSync(file, readFileSync(file, 'utf8').replace(/^ {2}flash:$/m, `${lines}\n  flash:`));
}

/** A copy of a file with one bit changed at the first place of `needle`. */
function forged(file: string, needle: Buffer, out: string): void {
  const bytes = readFileSync(own(file));
  const at = bytes.indexOf(needle);
  expect(at).toBeGreaterThan(0);
  bytes[at]! ^= 1;
  writeFileSync(own(out), bytes);
}

const refusalOf = (line: string): string => bench.run(`${line} --json`, OWN).json.refusal?.code;

beforeAll(() => {
  bench.ok('init MARL --vendor-domain marl.example');
  bench.ok('class add radio --model MR-7 --scheme asymmetric --core none', MARL);
  append(bench.path('MARL', 'classes', 'radio.yaml'), 'part_of: { component: radio }');
  bench.ok('class check radio', MARL);
  bench.ok('root create', MARL);
  bench.ok('signer create radio-1 --class radio', MARL);
  for (const [i, version] of ['3.0.0', '3.1.0', '3.2.0'].entries()) {
    writeFileSync(bench.path('MARL', 'radio.bin'), Buffer.concat([RADIO, Buffer.from([i])]));
    bench.ok(`seal radio.bin --class radio --version ${version} --out ../radio-${version}.suit`, MARL);
  }

  bench.ok('init OWN --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', OWN);
  intoMemory(
    own('classes', 'vent.yaml'),
    [
      '  components:',
      '    - name: radio',
      '      areas:',
      '        - { address: 0x90000000, size: 64KiB }',
      '        - { address: 0x90010000, size: 64KiB }',
    ].join('\n'),
  );
  append(
    own('classes', 'vent.yaml'),
    'authors:\n  - { name: marl, components: [radio], vendor_domain: marl.example, model: MR-7 }',
  );
  bench.ok('class check vent', OWN);
  bench.ok('root create', OWN);
  bench.ok('signer create line-1 --class vent', OWN);
  const [{ fingerprint }] = bench
    .ok('key list --json', MARL)
    .json.keys.filter(({ purpose }: { purpose: string }) => purpose === 'root');
  const root = '../MARL/certificates/root.pem';
  const wrong = `${fingerprint.slice(0, -1)}${fingerprint.endsWith('0') ? '1' : '0'}`;
  expect(bench.run(`author add marl --root ${root} --fingerprint ${wrong}`, OWN).status).not.toBe(0);
  expect(bench.run('provision vent --serial 0 --out early.unit', OWN).status).not.toBe(0);
  bench.ok(`author add marl --root ${root} --fingerprint ${fingerprint}`, OWN);
  bench.ok('ledger check', OWN);
  bench.ok('provision vent --serial 0001 --out vent.unit', OWN);
  writeFileSync(own('app.bin'), cortexImage(20_000));
});

const seal = (version: string, radio: string, more = '') =>
  `seal app.bin --class vent --version ${version} ${radio} --out vent-${version}.suit ${more}`;

describe('a release with the radio of another maker', () => {
  it('is announced by both classes, each with its side', () => {
    const shown = bench.ok('class show vent', OWN).stdout;
    expect(shown).toMatch(/component radio +stored only, made by marl/);
    expect(shown).toMatch(/area 2 +0x90010000 +64 KiB/);
    expect(bench.ok('class show radio', MARL).stdout).toMatch(/part of other units +as radio, stored only/);
  });

  it('is sealed with its envelope inside; result and record name both', () => {
    const { json } = bench.ok(seal('1.0.0', '--dependency ../radio-3.1.0.suit', '--json'), OWN);
    expect(json.dependencies).toMatchObject([
      { name: 'radio.suit', sequence_number: '2', components: ['radio'], root: 'marl', uri: '#radio.suit' },
    ]);
    expect(json.components).toEqual([]);
    const record = JSON.parse(readFileSync(own('releases', 'vent', '1.json'), 'utf8'));
    expect(record.dependencies ?? record.facts?.dependencies).toMatchObject([
      { manifest_digest: json.dependencies[0].manifest_digest },
    ]);
  });

  it('is checked, installed, started on trial and kept as one', () => {
    const said = bench.ok('check vent-1.0.0.suit --unit vent.unit --json', OWN).json;
    expect(said.facts.dependencies).toMatchObject([{ component: 'radio.suit', signer: { anchor: 'marl' } }]);
    expect(said.facts.images).toMatchObject([
      { size_bytes: 20_000 },
      { component: 'radio', size_bytes: 9001 },
    ]);
    const text = bench.ok('install vent-1.0.0.suit --unit vent.unit', OWN).stdout;
    expect(text).toContain('image of radio');
    expect(text).toContain('depends on');
    expect(bench.ok('boot vent.unit --json', OWN).json.slot).toBe('A');
    bench.ok('keep vent.unit', OWN);
    expect(bench.ok('boot vent.unit --json', OWN).json).toMatchObject({ slot: 'A', state: 'kept' });
  });

  it('falls back as one: the radio that starts is the one that belongs to the slot', () => {
    bench.ok(seal('1.1.0', '--dependency ../radio-3.2.0.suit'), OWN);
    bench.ok('install vent-1.1.0.suit --unit vent.unit', OWN);
    expect(bench.ok('boot vent.unit --json', OWN).json.slot).toBe('B');
    expect(bench.ok('boot vent.unit --json', OWN).json.slot).toBe('A');
  });

  it('a power cut while it is installed leaves the former images in place', () => {
    bench.ok(seal('1.2.0', '--dependency ../radio-3.2.0.suit'), OWN);
    bench.run('install vent-1.2.0.suit --unit vent.unit --cut-after 3200', OWN);
    expect(bench.ok('boot vent.unit --json', OWN).json.slot).toBe('A');
    bench.ok('install vent-1.2.0.suit --unit vent.unit', OWN);
    bench.ok('boot vent.unit', OWN);
    bench.ok('keep vent.unit', OWN);
  });
});

describe('what is refused', () => {
  it('forged on the way: radio image, radio signature, an older radio', () => {
    bench.ok(seal('1.3.0', '--dependency ../radio-3.2.0.suit'), OWN);
    forged('vent-1.3.0.suit', RADIO.subarray(0, 64), 'image.suit');
    expect(refusalOf('check image.suit --unit vent.unit')).toBe('image-digest-wrong');
    const marls = readFileSync(bench.path('radio-3.2.0.suit'));
    const end = lastBytes(marls).seal + 1;
    forged('vent-1.3.0.suit', marls.subarray(end - 32, end), 'signature.suit');
    expect(refusalOf('check signature.suit --unit vent.unit')).toBe('dependency-not-authentic');
    bench.ok(seal('1.4.0', '--dependency ../radio-3.0.0.suit'), OWN);
    expect(refusalOf('check vent-1.4.0.suit --unit vent.unit')).toBe('sequence-number-too-low');
    expect(refusalOf('install vent-1.4.0.suit --unit vent.unit')).toBe('sequence-number-too-low');
  });

  it("what the author sealed for its own units is no release for the maker's", () => {
    expect(refusalOf('check ../radio-3.2.0.suit --unit vent.unit')).toBe('signer-not-anchored');
  });

  it('sealing refuses what units would: no radio, one twice, a raw file in the place of its author, a forged envelope', () => {
    const before = bench.ok('counter show vent --json', OWN).json;
    writeFileSync(own('radio.bin'), RADIO);
    expect(bench.run(seal('2', ''), OWN).stderr).toContain('--dependency');
    expect(
      bench.run(seal('2', '--dependency ../radio-3.2.0.suit --component radio=radio.bin'), OWN).status,
    ).toBe(2);
    expect(bench.run(seal('2', '--component radio=radio.bin'), OWN).stderr).toContain('no right');
    const bytes = readFileSync(bench.path('radio-3.2.0.suit'));
    bytes[lastBytes(bytes).seal]! ^= 1;
    writeFileSync(own('forged.suit'), bytes);
    expect(bench.run(seal('2', '--dependency forged.suit'), OWN).status).toBe(1);
    expect(bench.ok('counter show vent --json', OWN).json).toEqual(before);
  });
});

describe('detached, and a component of the maker itself', () => {
  it('envelope and image of the radio lie beside the envelope', () => {
    bench.ok(seal('3.0.0', '--dependency ../radio-3.2.0.suit', '--detached'), OWN);
    expect(refusalOf('check vent-3.0.0.suit --unit vent.unit --image app.bin')).toBe('dependency-missing');
    bench.ok('check vent-3.0.0.suit --unit vent.unit --image app.bin --dependency ../radio-3.2.0.suit', OWN);
  });

  it('a class whose radio image is its own: sealed from a raw file, under one signature', () => {
    bench.ok('class add solo --model VC-3 --scheme asymmetric', OWN);
    intoMemory(
      own('classes', 'solo.yaml'),
      '  components: [{ name: radio, areas: [{ address: 0x90000000, size: 64KiB }, { address: 0x90010000, size: 64KiB }], started: true }]',
    );
    bench.ok('signer create line-2 --class solo', OWN);
    bench.ok('provision solo --serial 1 --out solo.unit', OWN);
    bench.ok('seal app.bin --class solo --version 1 --component radio=radio.bin --out solo.suit', OWN);
    bench.ok('install solo.suit --unit solo.unit', OWN);
    expect(bench.ok('boot solo.unit --json', OWN).json.slot).toBe('A');
    bench.ok('keep solo.unit', OWN);
    bench.ok(
      'seal app.bin --class solo --version 2 --component radio=radio.bin --detached --out solo-2.suit',
      OWN,
    );
    bench.ok('check solo-2.suit --unit solo.unit --image app.bin --component radio=radio.bin', OWN);
  });
});
