/**
 * Updates by delta through the built command: all shapes of a class, from envelope and from firmware file, and a delta
 * that Debian's xdelta3 made, sealed by a stranger (test/interop/stranger.ts: `cborg` and node:crypto).
 */
import { createPrivateKey, X509Certificate } from 'node:crypto';
import { appendFileSync, existsSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { edited } from '../delta/helpers.ts';
import { present, run } from '../image/tools.ts';
import { authorDelta, DNS, uuid5 } from '../interop/stranger.ts';
import { Bench, cortexImage, PASSPHRASE } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const at = (...parts: string[]) => bench.path('WS', ...parts);
const SLOT_B = 0x0804_0000;

/** Bytes with nothing to find in them but themselves. */
function noisy(address?: number): Buffer {
  const image = cortexImage(30_000, 0, address);
  for (let i = 8, state = 7; i < image.length; i++) {
    state = (Math.imul(state, 1_103_515_245) + 12_345) >>> 0;
    image[i] = state >>> 16;
  }
  return image;
}

/** The image after some edits, its vector table as it was. */
const changed = (image: Buffer, seed: number): Buffer =>
  Buffer.concat([image.subarray(0, 8), Buffer.from(edited(image.subarray(8), seed, 15))]);

const OLD = noisy();
const NEW = changed(OLD, 1);
const THIRD = changed(NEW, 2);

function classWith(name: string, options: string, window: string): void {
  bench.ok(`class add ${name} --model ${name.toUpperCase()} ${options}`, WS);
  const file = at('classes', `${name}.yaml`);
  writeFileSync(file, readFileSync(file, 'utf8').replace('# delta_window: 8KiB', `delta_window: ${window}`));
  bench.ok(`class check ${name}`, WS);
}

/** What lies in a slot of a unit file. */
function inSlot(unit: string, slot: string, length: number): Buffer {
  const { regions } = bench.ok(`unit show ${unit} --json`, WS).json;
  const { offset } = regions.find(({ name }: { name: string }) => name.endsWith(slot));
  return readFileSync(at(unit)).subarray(offset, offset + length);
}

function startAndKeep(unit: string): string {
  const { slot } = bench.ok(`boot ${unit} --json`, WS).json;
  bench.ok(`keep ${unit}`, WS);
  return slot;
}

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('root create', WS);
  writeFileSync(at('old.bin'), OLD);
  writeFileSync(at('new.bin'), NEW);
  writeFileSync(at('third.bin'), THIRD);
});

describe.each([
  ['ab', ''],
  ['pic', '--shape position-independent'],
  ['run', '--shape staged'],
] as const)('%s %s', (name, options) => {
  const unit = `${name}-0001.unit`;

  beforeAll(() => {
    classWith(name, `--scheme asymmetric ${options}`, '4KiB');
    appendFileSync(at('classes', `${name}.yaml`), 'links: [lorawan-eu-dr0]\n');
    bench.ok(`signer create s-${name} --class ${name}`, WS);
    bench.ok(`provision ${name} --serial 0001 --out ${unit}`, WS);
    bench.ok(`seal old.bin --class ${name} --version 1.0.0 --out ${name}-1.suit`, WS);
    bench.ok(`install ${name}-1.suit --unit ${unit}`, WS);
    startAndKeep(unit);
  });

  it('seals a delta from an envelope, tells what it saves, and a unit makes the image out of what it runs', () => {
    const sealed = bench.ok(
      `seal new.bin --class ${name} --version 1.1.0 --delta-from ${name}-1.suit --out ${name}-2.suit --json`,
      WS,
    ).json;
    const { delta } = sealed.image;
    expect(delta).toMatchObject({ format: 'vcdiff', uri: '#delta', window_bytes: 4096 });
    expect(delta.precursor).toMatchObject({ file: `${name}-1.suit`, sequence_number: '1', version: '1.0.0' });
    expect(delta.size_bytes).toBeLessThan(NEW.length / 10);
    expect(readFileSync(at(`${name}-2.suit`)).length).toBeLessThan(NEW.length / 4);
    const [link] = sealed.airtime;
    expect(link).toMatchObject({ link: 'lorawan-eu-dr0', delta: { size_bytes: sealed.envelope.size_bytes } });
    expect(link.delta.air_time_s).toBeLessThan(link.full.air_time_s / 4);
    const checked = bench.ok(`check ${name}-2.suit --unit ${unit} --json`, WS).json;
    expect(checked.facts.delta).toMatchObject({ digest: delta.digest, size_bytes: delta.size_bytes });
    bench.ok(`install ${name}-2.suit --unit ${unit}`, WS);
    const slot = startAndKeep(unit);
    expect(inSlot(unit, slot, NEW.length).equals(NEW)).toBe(true);
  });

  it('a unit that runs something else says so, and takes the whole image of the same release', () => {
    const other = `${name}-0002.unit`;
    bench.ok(`provision ${name} --serial 0002 --out ${other}`, WS);
    const refused = bench.ok(`check ${name}-2.suit --unit ${other} --json`, { ...WS, status: 1 }).json;
    expect(refused.refusal).toMatchObject({ code: 'precursor-wrong', step: 'fit' });
    bench.ok(`check ${name}-2.suit --unit ${other} --image new.bin`, WS);
    const before = readFileSync(at(other));
    bench.ok(`install ${name}-2.suit --unit ${other}`, { ...WS, status: 1 });
    expect(readFileSync(at(other)).equals(before)).toBe(true);
    bench.ok(`install ${name}-2.suit --unit ${other} --image new.bin`, WS);
    bench.ok(`boot ${other}`, WS);
  });

  it('power goes while a delta from a firmware file is applied: the old runs, and the install goes on', () => {
    bench.ok(`seal third.bin --class ${name} --version 1.2.0 --delta-from new.bin --out ${name}-3.suit`, WS);
    bench.ok(`install ${name}-3.suit --unit ${unit} --cut-after 900`, { ...WS, status: 3 });
    expect(bench.ok(`boot ${unit} --json`, WS).json).toMatchObject({ state: 'kept' });
    bench.ok(`install ${name}-3.suit --unit ${unit}`, WS);
    const slot = startAndKeep(unit);
    expect(inSlot(unit, slot, THIRD.length).equals(THIRD)).toBe(true);
  });
});

describe('linked slots', () => {
  it('two deltas, each from the image of the other slot; from firmware files, once for each slot', () => {
    classWith('link', '--scheme asymmetric --shape linked', '8KiB');
    bench.ok('signer create s-link --class link', WS);
    bench.ok('provision link --serial 0001 --out link.unit', WS);
    const oldB = noisy(SLOT_B);
    const newB = changed(oldB, 4);
    writeFileSync(at('old-b.bin'), oldB);
    writeFileSync(at('new-b.bin'), newB);
    bench.ok('seal old.bin --slot-b old-b.bin --class link --version 1.0.0 --out link-1.suit', WS);
    bench.ok('install link-1.suit --unit link.unit', WS);
    startAndKeep('link.unit');
    const next = 'seal new.bin --slot-b new-b.bin --class link --version 1.1.0';
    const alone = bench.run(`${next} --delta-from old.bin --out no.suit`, WS);
    expect(alone.status).toBe(2);
    expect(alone.stderr).toContain('once for each slot');
    const from = '--delta-from old.bin --delta-from old-b.bin';
    const sealed = bench.ok(`${next} ${from} --out link-2.suit --json`, WS).json;
    expect(sealed.images.map(({ delta }: { delta: { uri: string } }) => delta.uri)).toEqual([
      '#delta-a',
      '#delta-b',
    ]);
    bench.ok('install link-2.suit --unit link.unit', WS);
    expect(startAndKeep('link.unit')).toBe('B');
    expect(inSlot('link.unit', 'B', newB.length).equals(newB)).toBe(true);
  });
});

describe('what is not sealed', () => {
  beforeAll(() => {
    bench.ok('class add bare --model BARE --scheme asymmetric', WS);
    bench.ok('signer create s-bare --class bare', WS);
    classWith('secret', '--scheme asymmetric', '4KiB');
    const file = at('classes', 'secret.yaml');
    writeFileSync(
      file,
      readFileSync(file, 'utf8').replace('confidentiality: none', 'confidentiality: image'),
    );
    bench.ok('signer create s-secret --class secret', WS);
    bench.ok('provision secret --serial 0001 --out secret.unit', WS);
    writeFileSync(at('foreign.bin'), cortexImage(300, 0x11));
    writeFileSync(at('broken.suit'), Buffer.from('d86ba0', 'hex'));
  });

  it.each([
    ['bare', 'new.bin', 'old.bin', 1, 'set no memory aside'],
    ['secret', 'new.bin', 'old.bin', 1, 'encrypts its images'],
    ['ab', 'new.bin', 'new.bin', 2, 'the same image'],
    ['ab', 'foreign.bin', 'ab-2.suit', 2, 'does not lie in it'],
    ['ab', 'new.bin', 'broken.suit', 2, 'is none'],
  ])('%s: %s from %s', (name, image, from, status, says) => {
    const options = `--class ${name} --version 9.9.9 --delta-from ${from} --out not.suit`;
    const ran = bench.run(`seal ${image} ${options}`, WS);
    expect(ran.status).toBe(status);
    expect(ran.stderr).toContain(says);
    expect(existsSync(at('not.suit'))).toBe(false);
  });

  it('a delta that saves nothing, and a window that no RAM has', () => {
    writeFileSync(at('tiny.bin'), cortexImage(12, 0x11));
    const ran = bench.run('seal tiny.bin --class ab --version 9.9.9 --delta-from old.bin --out not.suit', WS);
    expect(ran).toMatchObject({ status: 1, stderr: expect.stringContaining('too little in common') });
    const file = at('classes', 'bare.yaml');
    const text = readFileSync(file, 'utf8');
    writeFileSync(file, text.replace('# delta_window: 8KiB', 'delta_window: 128KiB'));
    expect(bench.run('class check bare', WS)).toMatchObject({
      status: 2,
      stderr: expect.stringContaining('delta_window'),
    });
    writeFileSync(file, text);
  });
});

describe.skipIf(!present('xdelta3'))('a delta by xdelta3, sealed by a stranger', () => {
  it('RFC 3284: is taken like one of ours', () => {
    classWith('far', '--scheme asymmetric', '16KiB');
    bench.ok('signer create s-far --class far', WS);
    bench.ok('provision far --serial 0001 --out far.unit', WS);
    bench.ok('seal old.bin --class far --version 1.0.0 --out far-1.suit', WS);
    bench.ok('install far-1.suit --unit far.unit', WS);
    startAndKeep('far.unit');
    const plain = ['-S', 'none', '-A', '-n', '-W', '16384'];
    run('xdelta3', ['-e', ...plain, '-s', at('old.bin'), at('new.bin'), at('far.vcdiff')]);
    const pem = readFileSync(at('private', 'keys', 's-far.pem'), 'utf8');
    const certificate = new X509Certificate(readFileSync(at('certificates', 's-far.pem')));
    const vendor = uuid5(DNS, 'hollinridge.example');
    const envelope = authorDelta({
      device: { vendor, model: uuid5(vendor, 'FAR'), slot: 0 },
      number: 2,
      image: NEW,
      delta: readFileSync(at('far.vcdiff')),
      window: 16_384,
      precursor: OLD,
      algorithm: -9,
      key: createPrivateKey({ key: pem, passphrase: PASSPHRASE }),
      chain: [certificate.raw],
    });
    writeFileSync(at('far-2.suit'), envelope);
    bench.ok('install far-2.suit --unit far.unit', WS);
    const slot = startAndKeep('far.unit');
    expect(inSlot('far.unit', slot, NEW.length).equals(NEW)).toBe(true);
  });
});
