/** Several signatures in one payload through the built command: draft-ietf-suit-manifest 8.3, docs/deployment-profile.md. */
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { sourceOf, toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { openEnvelope, writeEnvelopeHead } from '../../src/suit/index.ts';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const read = (...path: string[]) => JSON.parse(readFileSync(bench.path('WS', ...path), 'utf8'));
const opened = (file: string) => openEnvelope(sourceOf(new Uint8Array(readFileSync(bench.path('WS', file)))));

/** Puts a policy into a class file, as an engineer would. */
function edit(className: string, lines: string): void {
  const file = bench.path('WS', 'classes', `${className}.yaml`);
  writeFileSync(file, readFileSync(file, 'utf8').replace(/^clock:/m, `${lines}\nclock:`));
}

/** The envelope without the block at `index`, its image inside: what anyone on the way can make of it. */
function strip(file: string, index: number, out: string): void {
  const { digest, blocks, manifest, severed, integrated } = opened(file);
  const whole = readFileSync(bench.path('WS', file));
  const [key, { offset, length }] = [...integrated][0]!;
  const pieces = writeEnvelopeHead({
    digest: digest.encoded,
    blocks: blocks.filter((_, i) => i !== index).map(({ bytes }) => bytes),
    manifest,
    severed: new Map([...severed].map(([code, { content }]) => [code, content])),
    integrated: [{ key, length }],
  });
  writeFileSync(bench.path('WS', out), Buffer.concat([pieces[0]!, whole.subarray(offset, offset + length)]));
}

function check(envelope: string, unit: string) {
  const { json } = bench.run(`check ${envelope} --unit ${unit} --json`, WS);
  return json;
}

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('root create', WS);
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(20_000));
});

describe('transition to post-quantum signatures: ESP256 and HSS/LMS together', () => {
  const seal = 'seal app.bin --class vent --version 1.4.0 --json';

  beforeAll(() => {
    bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
    bench.ok('provision vent --serial old --out old.unit', WS);
    edit('vent', 'authentication:\n  rule: all\n  roles: [{ algorithm: ESP256 }, { algorithm: HSS-LMS }]\n');
    bench.ok('class check vent', WS);
    bench.ok('provision vent --serial new --out new.unit', WS);
    bench.ok('signer create line-1 --class vent', WS);
    bench.ok('signer create line-q --class vent --algorithm hss-lms --parameters H5/W8', WS);
  });

  it('one signer alone is refused before a number or a leaf is used', () => {
    const before = bench.ok('counter show vent --json', WS).json;
    for (const signer of ['line-1', 'line-q']) {
      const ran = bench.run(`${seal} --signer ${signer} --out no.suit`, WS);
      expect([ran.status, ran.json.error.code]).toEqual([1, 'signers-too-few']);
    }
    expect(bench.ok('counter show vent --json', WS).json).toEqual(before);
    const { keys } = bench.ok('key list --json', WS).json;
    expect(keys.find(({ name }: { name: string }) => name === 'line-q').signatures.remaining).toBe(32);
  });

  it('both sign without being named where there is no choice; new and old units take it', () => {
    const sealed = bench.ok(`${seal} --security-version 3 --out both.suit`, WS).json;
    expect(sealed.signers.map(({ algorithm }: { algorithm: string }) => algorithm)).toEqual([
      'ESP256',
      'HSS-LMS',
    ]);
    expect(sealed.open).toEqual([]);
    expect(sealed.leaves).toHaveLength(1);
    expect(read('releases', 'vent', '1.json').signers).toEqual(sealed.signers);
    expect(opened('both.suit').blocks).toHaveLength(2);
    for (const unit of ['old', 'new']) {
      const verdict = check('both.suit', `${unit}.unit`);
      expect(verdict.verdict).toBe('accepted');
      expect(verdict.facts.security_version).toBe(3);
      expect(verdict.facts.authentications).toHaveLength(unit === 'new' ? 2 : 1);
    }
  });

  it('one stripped: refused with authentications-too-few at step authentication, flash untouched', () => {
    const before = readFileSync(bench.path('WS', 'new.unit'));
    for (const index of [0, 1]) {
      strip('both.suit', index, `one-${index}.suit`);
      const { refusal } = check(`one-${index}.suit`, 'new.unit');
      expect([refusal.step, refusal.code]).toEqual(['authentication', 'authentications-too-few']);
      const ran = bench.run(`install one-${index}.suit --unit new.unit --json`, WS);
      expect([ran.status, ran.json.refusal.code]).toEqual([1, 'authentications-too-few']);
    }
    expect(readFileSync(bench.path('WS', 'new.unit')).equals(before)).toBe(true);
  });

  it('installed, started and kept: the start judges both signatures again', () => {
    bench.ok('install both.suit --unit new.unit', WS);
    const { json } = bench.ok('boot new.unit --json', WS);
    const judged = json.steps[0].comparisons.map(({ what }: { what: string }) => what);
    expect(judged).toContain('block 1: signature over the sealed digest');
    expect(judged).toContain('block 2: signature over the sealed digest');
    bench.ok('keep new.unit', WS);
    const shown = bench.ok('unit show new.unit --json', WS).json;
    expect(shown.authentication.rule).toBe('all');
  });
});

describe('a post-quantum signature added to a detached payload', () => {
  it('uses one leaf, which the ledger and the record name; the image beside it stays', () => {
    const line = 'seal app.bin --class vent --version 1.5.0 --signer line-1 --unfinished --detached --json';
    const half = bench.ok(`${line} --security-version 3 --out half-q.suit`, WS).json;
    expect(half.leaves).toEqual([]);
    const added = bench.ok('signature add half-q.suit --signer line-q --out whole-q.suit --json', WS).json;
    expect(added.leaves).toEqual([{ key: 'line-q', fingerprint: added.signer.fingerprint, leaf: '1' }]);
    expect(read(...added.record.split('/')).leaves).toEqual(added.leaves);
    const { entries } = bench.ok('ledger list --json', WS).json;
    expect(entries.at(-1).facts.leaves).toEqual(added.leaves);
    bench.ok('ledger check', WS);
    const { json } = bench.ok('check whole-q.suit --unit new.unit --image app.bin --json', WS);
    expect(json.verdict).toBe('accepted');
    expect(check('half-q.suit', 'new.unit').refusal.code).toBe('authentications-too-few');
  });

  it('is announced with its image once all have signed, not before', () => {
    bench.ok('signer create ann-1 --purpose announcement', WS);
    const line = (file: string) => `announce vent ${file} --image app.bin --depot depot --json`;
    const { error } = bench.ok(line('half-q.suit'), { ...WS, status: 2 }).json;
    expect(error.message).toMatch(/is unfinished: units refuse it until it is signed by .*HSS-LMS/);
    const whole = new Uint8Array(readFileSync(bench.path('WS', 'whole-q.suit')));
    expect(bench.ok(line('whole-q.suit'), WS).json.offer).toBe(toHex(sha256(whole)));
  });

  it('is the release that a delta is from', () => {
    const file = bench.path('WS', 'classes', 'vent.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace('# delta_window', 'delta_window'));
    const next = cortexImage(20_000);
    next.fill(0x77, 9000, 9040);
    writeFileSync(bench.path('WS', 'next.bin'), next);
    const line =
      'seal next.bin --class vent --version 1.6.0 --security-version 3 --delta-from app.bin --json';
    const { images } = bench.ok(`${line} --out delta.suit`, WS).json;
    expect(images[0].delta.precursor).toMatchObject({ sequence_number: '2', version: '1.5.0' });
  });
});

describe('author and approver, two of two; the second signs later', () => {
  beforeAll(() => {
    bench.ok('class add dosing --model DC-1 --scheme asymmetric', WS);
    edit(
      'dosing',
      'authentication:\n  rule: at_least\n  count: 2\n  roles: [{ role: author }, { role: approver, anchors: [root] }]\n' +
        'rights:\n  - { role: author, components: [main], commands: [fetch, invoke] }\n',
    );
    bench.ok('provision dosing --serial 0001 --out d.unit', WS);
    for (const role of ['author', 'approver']) {
      const made = bench.ok(`signer create ${role}-1 --class dosing --role ${role} --json`, WS).json;
      expect(made.certificate.role).toBe(role);
    }
    bench.ok('signer create author-2 --class dosing --role author', WS);
    bench.ok('signer create author-q --class dosing --role author --algorithm ed25519', WS);
  });

  it('the wrong pair is refused before a number is used, and what is missing is named', () => {
    const line = 'seal app.bin --class dosing --version 2.0.0 --out no.suit --json';
    const ran = bench.run(`${line} --signer author-1 --signer author-2`, WS);
    expect([ran.status, ran.json.error.code]).toEqual([1, 'signers-too-few']);
    expect(ran.json.error.message).toContain('open is approver');
    expect(bench.run(`${line} --signer author-1 --signer author-1`, WS).json.error.code).toBe(
      'signers-wrong',
    );
    expect(bench.run(`${line} --signer author-q --signer approver-1`, WS).json.error.code).toBe(
      'signer-algorithm',
    );
    expect(bench.run(line, WS).json.error.code).toBe('signer-several');
    expect(bench.ok('counter show dosing --json', WS).json.last).toBe(0);
  });

  it('sealed unfinished, refused by the unit, signed by the approver, taken', () => {
    const seal = 'seal app.bin --class dosing --version 2.0.0 --signer author-1 --unfinished --json';
    const half = bench.ok(`${seal} --out half.suit --security-version 1`, WS).json;
    expect(half.open).toEqual(['approver, under root']);
    expect(half.cautions[1] + half.cautions[0]).toContain('unfinished');
    expect(check('half.suit', 'd.unit').refusal.code).toBe('authentications-too-few');
    const added = bench.ok('signature add half.suit --signer approver-1 --out whole.suit --json', WS).json;
    expect(added).toMatchObject({ format: 'fieldseal.signature/1', signatures: 2, open: [], cautions: [] });
    const verdict = check('whole.suit', 'd.unit');
    expect(verdict.verdict).toBe('accepted');
    expect(verdict.facts.security_version).toBe(1);
    const [before, after] = [opened('half.suit'), opened('whole.suit')];
    expect(Buffer.from(after.manifestBstr).equals(before.manifestBstr)).toBe(true);
    expect(read(...added.record.split('/')).signer.role).toBe('approver');
    const { entries } = bench.ok('ledger list --json', WS).json;
    expect(entries.at(-1).kind).toBe('signature-added');
    bench.ok('ledger check', WS);
    bench.ok('install whole.suit --unit d.unit', WS);
    bench.ok('boot d.unit', WS);
  });

  it('on record it is one release: a report of it is known, and both who signed it expose it', () => {
    bench.ok('keep d.unit', WS);
    bench.ok('report make d.unit --out d.report', WS);
    const { verdict, release } = bench.ok('report appraise d.report --json', WS).json;
    expect([verdict, release]).toMatchObject(['genuine', { version: '2.0.0', sequence_number: '1' }]);
    const { signed } = read('releases', 'dosing', '1-signature-1.json');
    const { sealed } = read('releases', 'dosing', '1.json');
    for (const [signer, moment] of [
      ['author-1', sealed],
      ['approver-1', signed],
    ]) {
      const { releases } = bench.ok(`exposure ${signer} --json`, WS).json;
      expect(releases).toMatchObject([{ class: 'dosing', version: '2.0.0', sealed: moment }]);
    }
  });

  it('what must not be signed is refused, and nothing is written', () => {
    const add = (file: string, signer: string) =>
      bench.run(`signature add ${file} --signer ${signer} --out no.suit --json`, WS).json.error.code;
    expect(add('whole.suit', 'author-1')).toBe('signed-already');
    const bytes = readFileSync(bench.path('WS', 'half.suit'));
    const at = (change: (copy: Buffer) => void) => {
      const copy = Buffer.from(bytes);
      change(copy);
      writeFileSync(bench.path('WS', 'changed.suit'), copy);
      return add('changed.suit', 'approver-1');
    };
    const { manifestSpan, blocks } = opened('half.suit');
    expect(at((copy) => (copy[manifestSpan.end - 1]! ^= 1))).toBe('manifest-changed');
    expect(at((copy) => (copy[blocks[0]!.span.end - 1]! ^= 1))).toBe('signature-unsound');
    writeFileSync(bench.path('WS', 'stray.suit'), 'no envelope');
    expect(add('stray.suit', 'approver-1')).toBe('envelope-unreadable');
    expect(add('both.suit', 'approver-1')).toBe('signer-scope');
  });

  it('rights: a class that gives the author no right to start has it refused', () => {
    const file = bench.path('WS', 'classes', 'dosing.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace('[fetch, invoke]', '[fetch]'));
    bench.ok('provision dosing --serial 0002 --out d2.unit', WS);
    const { refusal } = check('whole.suit', 'd2.unit');
    expect([refusal.step, refusal.code]).toEqual(['manifest', 'command-not-permitted']);
    const before = bench.ok('counter show dosing --json', WS).json;
    const line = 'seal app.bin --class dosing --version 2.1.0 --out no.suit --json';
    const ran = bench.run(`${line} --signer author-1 --signer approver-1`, WS);
    expect([ran.status, ran.json.error.code]).toEqual([1, 'signer-rights']);
    expect(ran.json.error.message).toContain('invoke');
    expect(bench.ok('counter show dosing --json', WS).json).toEqual(before);
  });
});

describe('any of two', () => {
  it('either signature suffices, and the other may be missing', () => {
    bench.ok('class add pump --model PC-1 --scheme asymmetric', WS);
    edit('pump', 'authentication:\n  rule: any\n  roles: [{ algorithm: ESP256 }, { algorithm: Ed25519 }]\n');
    bench.ok('provision pump --serial 0001 --out p.unit', WS);
    bench.ok('signer create pump-1 --class pump', WS);
    bench.ok('signer create pump-2 --class pump --algorithm ed25519', WS);
    for (const signers of ['--signer pump-1', '--signer pump-2', '--signer pump-1 --signer pump-2']) {
      bench.ok(`seal app.bin --class pump --version 1.0.0 ${signers} --out p.suit --force`, WS);
      expect(check('p.suit', 'p.unit').verdict).toBe('accepted');
    }
  });
});

describe('class files', () => {
  it('a policy that no payload could satisfy is refused and named', () => {
    bench.ok('class add lamp --model LC-1 --scheme asymmetric', WS);
    edit('lamp', 'authentication: { rule: at_least, count: 3, roles: [{}, {}] }');
    const many = bench.run('class check lamp', WS);
    expect(many.stderr).toContain('only 2 roles are listed');
    rmSync(bench.path('WS', 'classes', 'lamp.yaml'));
  });

  it('a class that asks for a root that is not there is not provisioned', () => {
    bench.ok('class add gate --model GC-1 --scheme asymmetric', WS);
    edit('gate', 'authentication: { rule: any, roles: [{ anchors: [spare] }] }');
    const ran = bench.run('provision gate --serial 1 --out g.unit --json', WS);
    expect([ran.status, ran.json.error.code]).toEqual([2, 'key-missing']);
  });

  it('roles under a key that all share protect nothing', () => {
    bench.ok('class add shared --model SC-1 --scheme symmetric', WS);
    edit('shared', 'authentication: { rule: any, roles: [{}] }');
    const symmetric = bench.run('class check shared', WS);
    expect(symmetric.status).not.toBe(0);
    expect(symmetric.stderr).toContain('tells no signer from another');
  });
});
