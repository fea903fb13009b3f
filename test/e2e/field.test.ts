/** A unit in the field, at the command line: trials, falling back, resuming, floors, clocks, power cuts, damaged flash. */
import { copyFileSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const OLD = cortexImage(9_000, 0x11);
const NEW = cortexImage(12_000, 0x22);

const file = (name: string) => bench.path('WS', name);

/** A small class: 32 KiB slots and 1 KiB pages, so that an install is a few hundred flash operations. */
function smallClass(name: string, more = ''): void {
  bench.ok(`class add ${name} --model ${name}-1 --scheme asymmetric --slot-size 32KiB ${more}`, WS);
}

/** A copy of a unit to act on. */
function copyOf(unit: string, name = 'copy.unit'): string {
  copyFileSync(file(unit), file(name));
  return name;
}

const install = (unit: string, envelope: string, status = 0, more = '') =>
  bench.ok(`install ${envelope} --unit ${unit} --json ${more}`, { ...WS, status }).json;
const boot = (unit: string, status = 0, more = '') =>
  bench.ok(`boot ${unit} --json ${more}`, { ...WS, status }).json;
const keep = (unit: string, status = 0, more = '') =>
  bench.ok(`keep ${unit} --json ${more}`, { ...WS, status }).json;

function seal(image: string, name: string, version: string, more = ''): void {
  bench.ok(`seal ${image} --class vent --version ${version} --out ${name} ${more}`, WS);
}

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  smallClass('vent');
  smallClass('timed', '--clock');
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  writeFileSync(file('old.bin'), OLD);
  writeFileSync(file('new.bin'), NEW);
  seal('old.bin', '1.suit', '1.0.0');
  seal('new.bin', '2.suit', '2.0.0');
  seal('old.bin', '3.suit', '3.0.0');
  bench.ok('provision vent --serial 0001 --out empty.unit', WS);
  bench.ok('provision vent --serial 0002 --first 1.suit --out one.unit', WS);
});

describe('an empty unit', () => {
  it('starts nothing and says so, and its first install counts as production programming', () => {
    const unit = copyOf('empty.unit');
    expect(boot(unit, 1)).toMatchObject({ verdict: 'refused', slot: null });
    expect(keep(unit, 1)).toMatchObject({ verdict: 'refused' });
    expect(install(unit, '1.suit')).toMatchObject({ verdict: 'accepted', production_programming: true });
    expect(boot(unit)).toMatchObject({ version: '1.0.0', state: 'on trial' });
    expect(keep(unit)).toMatchObject({ already: false, floors: { sequence_number: 1 } });
    expect(keep(unit)).toMatchObject({ already: true });
    expect(install(unit, '2.suit')).toMatchObject({ production_programming: false });
  });

  it('starts its only image again and again rather than nothing, until it is kept', () => {
    const unit = copyOf('empty.unit');
    install(unit, '1.suit');
    for (let i = 0; i < 4; i++) expect(boot(unit)).toMatchObject({ version: '1.0.0', state: 'on trial' });
    expect(install(unit, '2.suit', 1).refusal.code).toBe('trial-in-progress');
    keep(unit);
    install(unit, '2.suit');
    expect(boot(unit)).toMatchObject({ version: '2.0.0' });
  });
});

describe('a trial', () => {
  it('refuses every install with its own code, also of the image on trial, and changes nothing', () => {
    const unit = copyOf('one.unit');
    install(unit, '2.suit');
    boot(unit);
    const before = readFileSync(file(unit));
    for (const envelope of ['1.suit', '2.suit', '3.suit'])
      expect(install(unit, envelope, 1).refusal).toMatchObject({
        code: 'trial-in-progress',
        step: 'freshness',
      });
    expect(readFileSync(file(unit)).equals(before)).toBe(true);
    expect(bench.ok(`check 3.suit --unit ${unit} --json`, { ...WS, status: 1 }).json.refusal.code).toBe(
      'trial-in-progress',
    );
  });

  it('falls back when the image is not kept, remembers it by digest, and refuses it after three tries', () => {
    const unit = copyOf('one.unit');
    for (let attempt = 1; attempt <= 3; attempt++) {
      install(unit, '2.suit');
      expect(boot(unit)).toMatchObject({ version: '2.0.0', state: 'on trial' });
      const back = boot(unit);
      expect(back).toMatchObject({ version: '1.0.0', state: 'kept' });
      expect(back.passed_over[0].refusal.code).toBe('trial-ran-out');
    }
    expect(install(unit, '2.suit', 1).refusal).toMatchObject({ step: 'freshness' });
    install(unit, '3.suit');
    expect(boot(unit)).toMatchObject({ version: '3.0.0' });
    keep(unit);
    expect(install(unit, '2.suit', 1).refusal.step).toBe('freshness');
    expect(install(unit, '3.suit')).toMatchObject({ facts: { effect: 'already there' } });
  });
});

describe('floors', () => {
  it('rise only when an image is kept, and never let an older security version back', () => {
    const unit = copyOf('one.unit');
    seal('new.bin', 'secure.suit', '4.0.0', '--security-version 7');
    seal('old.bin', 'insecure.suit', '5.0.0', '--security-version 6');
    install(unit, 'secure.suit');
    boot(unit);
    const before = bench.ok(`unit show ${unit} --json`, WS).json;
    expect(before.floors.security_version).toBe(0);
    expect(keep(unit).floors).toMatchObject({ security_version: 7 });
    expect(install(unit, 'insecure.suit', 1).refusal).toMatchObject({ step: 'freshness' });
    expect(boot(unit)).toMatchObject({ version: '4.0.0' });
  });

  it('a payload for one unit fits no other (device identifier)', () => {
    seal('new.bin', 'only-2.suit', '6.0.0', '--serial 0002');
    bench.ok('check only-2.suit --unit one.unit', WS);
    const other = bench.ok('check only-2.suit --unit empty.unit --json', { ...WS, status: 1 }).json;
    expect(other.refusal.step).toBe('identity');
  });
});

describe('a unit with a clock', () => {
  it('judges certificate dates by the time it is told, and one without a clock does not', () => {
    bench.ok('provision timed --serial 0001 --out timed.unit', WS);
    bench.ok('seal old.bin --class timed --version 1.0.0 --out timed.suit', WS);
    const at = (date: string, status: number) =>
      bench.ok(`check timed.suit --unit timed.unit --at ${date} --json`, { ...WS, status }).json;
    const year = new Date().getUTCFullYear();
    expect(at(`${year + 9}-01-01`, 1).refusal.step).toBe('signer');
    expect(at('1970-01-01', 1).refusal.step).toBe('signer');
    bench.ok('check timed.suit --unit timed.unit', WS);
    bench.ok(`check 1.suit --unit empty.unit --at ${year + 9}-01-01`, WS);
    bench.ok('check timed.suit --unit timed.unit --at yesterday', { ...WS, status: 2 });
    // Dates are judged at install only and never stop a start.
    bench.ok('install timed.suit --unit timed.unit', WS);
    expect(boot('timed.unit')).toMatchObject({ version: '1.0.0' });
  });
});

describe('power cuts', () => {
  const genuine = ['1.0.0', '2.0.0'];

  /** Cuts `command` at `after`, starts, and expects the old or the new; then goes the whole way to the new. */
  function survives(unit: string, command: string, after: number, kind: string): void {
    const cut = bench.run(`${command} --cut-after ${after} --cut-kind ${kind} --json`, WS);
    expect(cut.status, cut.stderr).toBe(3);
    expect(cut.json.cut).toBe(true);
    const started = boot(unit);
    expect(genuine).toContain(started.version);
  }

  function operationsOf(unit: string, act: (unit: string) => { operations: number }): number {
    return act(copyOf(unit, 'count.unit')).operations;
  }

  const KINDS = ['before', 'middle', 'after'];

  /** The first places, the last, and some between. */
  const sample = (total: number, count: number) => [
    ...new Set([
      ...Array.from({ length: count }, (_, i) => Math.floor((i * total) / count)),
      Math.max(0, total - 2),
      total - 1,
    ]),
  ];

  it('in an install: the old starts, and the same envelope resumes', () => {
    const total = operationsOf('one.unit', (unit) => install(unit, '2.suit'));
    expect(total).toBeGreaterThan(50);
    const places = [0, 1, 2, 3, 9, Math.floor(total / 2), total - 4, total - 3, total - 2, total - 1];
    for (const [i, after] of places.entries()) {
      const unit = copyOf('one.unit');
      survives(unit, `install 2.suit --unit ${unit}`, after, KINDS[i % 3]!);
      const again = bench.run(`install 2.suit --unit ${unit} --json`, WS);
      if (again.status !== 0) expect(again.json.refusal.code).toBe('trial-in-progress');
      else expect(boot(unit)).toMatchObject({ version: '2.0.0', state: 'on trial' });
    }
    const past = bench.ok(`install 2.suit --unit ${copyOf('one.unit')} --cut-after ${total} --json`, WS);
    expect(past.json).toMatchObject({ cut: false, verdict: 'accepted' });
  });

  it('in the start of a trial, in keeping, and in the start that follows', () => {
    const ready = copyOf('one.unit', 'ready.unit');
    install(ready, '2.suit');
    const starting = operationsOf(ready, (unit) => boot(unit));
    for (const after of sample(starting, 6)) {
      survives(copyOf(ready), 'boot copy.unit', after, 'middle');
      const again = bench.run('boot copy.unit --cut-after 1 --json', WS);
      expect([0, 3]).toContain(again.status);
      expect(genuine).toContain(boot('copy.unit').version);
    }
    const trial = copyOf(ready, 'trial.unit');
    boot(trial);
    const keeping = operationsOf(trial, (unit) => keep(unit));
    for (const [i, after] of sample(keeping, 8).entries()) {
      survives(copyOf(trial), 'keep copy.unit', after, KINDS[i % 3]!);
      expect(genuine).toContain(boot('copy.unit').version);
    }
  });

  it('tells people where it was cut, and what to do', () => {
    const unit = copyOf('one.unit');
    const cut = bench.ok(`install 2.suit --unit ${unit} --cut-after 5`, { ...WS, status: 3 });
    expect(cut.stdout + cut.stderr).toMatch(/cut/);
    expect(cut.stdout + cut.stderr).toMatch(/boot/);
  });
});

describe('a damaged unit file', () => {
  it('any byte of its flash changed: genuine firmware starts or nothing does, and it never crashes', () => {
    const unit = copyOf('one.unit', 'whole.unit');
    install(unit, '2.suit');
    boot(unit);
    keep(unit);
    const whole = readFileSync(file(unit));
    const shown = bench.ok(`unit show ${unit} --json`, WS).json;
    const { offset, size_bytes: size } = shown.flash;
    const state = shown.regions.find((region: { name: string }) => region.name === 'state');
    const places = [
      ...Array.from({ length: 24 }, (_, i) => offset + Math.floor((size * i) / 24) + (i % 7)),
      ...Array.from({ length: 40 }, (_, i) => state.offset + i * 7),
    ];
    const outcomes = new Set<string>();
    for (const [i, place] of places.entries()) {
      const bytes = Buffer.from(whole);
      bytes[place]! ^= 1 << (i % 8);
      writeFileSync(file('changed.unit'), bytes);
      const started = bench.run('boot changed.unit --json', WS);
      expect([0, 1], started.stderr).toContain(started.status);
      if (started.status === 0) expect(['1.0.0', '2.0.0']).toContain(started.json.version);
      outcomes.add(started.json.version ?? started.json.refusal.code);
    }
    expect(outcomes).toContain('2.0.0');
  });

  it('an image or an envelope changed in its slot is not started; the other is', () => {
    const unit = copyOf('one.unit', 'both.unit');
    install(unit, '2.suit');
    boot(unit);
    keep(unit);
    const bytes = readFileSync(file(unit));
    const at = bytes.indexOf(NEW.subarray(0, 64));
    expect(at).toBeGreaterThan(0);
    bytes[at + 3_000]! ^= 1;
    writeFileSync(file(unit), bytes);
    const started = boot(unit);
    expect(started).toMatchObject({ version: '1.0.0', state: 'kept' });
    expect(started.passed_over[0].refusal.step).toBe('start');
    const human = bench.ok(`boot ${unit}`, WS).stdout;
    expect(human).toContain('1.0.0');
  });

  it('a header that was changed, cut or is no unit file at all is refused in words', () => {
    const whole = readFileSync(file('one.unit'));
    const variants: [string, Buffer][] = [
      ['a digit of the header', Buffer.from(whole)],
      ['cut in the header', whole.subarray(0, 500)],
      ['cut in the flash', whole.subarray(0, statSync(file('one.unit')).size - 100_000)],
      ['no bytes', Buffer.alloc(0)],
      ['something else', OLD],
    ];
    variants[0]![1][200]! ^= 1;
    for (const [what, bytes] of variants) {
      writeFileSync(file('bad.unit'), bytes);
      for (const command of [
        'boot bad.unit',
        'unit show bad.unit',
        'install 1.suit --unit bad.unit',
        'keep bad.unit',
      ]) {
        const ran = bench.run(`${command} --json`, WS);
        expect([2, 3], `${what}: ${command}\n${ran.stdout}${ran.stderr}`).toContain(ran.status);
        expect(ran.json.error.code).not.toBe('program-fault');
        expect(ran.stderr).toContain('bad.unit');
      }
      expect(readFileSync(file('bad.unit')).equals(bytes)).toBe(true);
    }
  });

  it('needs no workspace, and none is made', () => {
    const alone = new Bench();
    alone.environment = { ...alone.environment, FIELDSEAL_PASSPHRASE: undefined };
    copyFileSync(file('one.unit'), alone.path('one.unit'));
    copyFileSync(file('2.suit'), alone.path('2.suit'));
    alone.ok('check 2.suit --unit one.unit');
    alone.ok('install 2.suit --unit one.unit');
    alone.ok('boot one.unit');
    alone.ok('keep one.unit');
    alone.ok('unit show one.unit');
  });
});
