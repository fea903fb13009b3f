/** Challenge, answer, appraisal; start, self-check and boot log: from the unit's flash to the verdict, through the built command. */
import { copyFileSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const SLOT_A = 0x0800_0000;
const PAGE = 4096;

/** Has a class of the workspace say something more. */
function describeClass(name: string, change: (text: string) => string): void {
  const path = bench.path('WS', 'classes', `${name}.yaml`);
  writeFileSync(path, change(readFileSync(path, 'utf8')));
}
const selfCheck = (reaction: string) => (text: string) =>
  `${text}\nattestation: { self_check: { method: blocks, slice: 4KiB, every_seconds: 30, reaction: ${reaction} } }\n`;

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
  describeClass('vent', selfCheck('restart'));
  describeClass('dosing', selfCheck('stop'));
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  bench.ok('class-key create dosing', WS);
  for (const serial of ['0001', '0002']) {
    bench.ok(`provision vent --serial ${serial} --out vent-${serial}.unit`, WS);
    bench.ok(`provision dosing --serial ${serial} --out dosing-${serial}.unit`, WS);
  }
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(20_000));
  writeFileSync(bench.path('WS', 'next.bin'), cortexImage(30_000, 0xa5));
  bench.ok('seal app.bin --class vent --version 1.4.0 --out app.suit', WS);
  bench.ok('seal next.bin --class dosing --version 2.1.0 --out dose.suit', WS);
  install('vent-0001', 'app.suit');
  install('dosing-0001', 'dose.suit');
});

function install(unit: string, envelope: string): void {
  bench.ok(`install ${envelope} --unit ${unit}.unit`, WS);
  bench.ok(`boot ${unit}.unit`, WS);
  bench.ok(`keep ${unit}.unit`, WS);
}

let asked = 0;
/** Challenges a unit and has it answer; gives the file of the token. */
function answered(name: string, challenge = '', answer = ''): string {
  const file = `q${asked++}`;
  const [className, serial] = name.split('-');
  bench.ok(`challenge ${className} ${serial} --out ${file}.challenge ${challenge}`, WS);
  bench.ok(`answer ${name}.unit --challenge ${file}.challenge --out ${file}.eat ${answer}`, WS);
  return `${file}.eat`;
}
const appraise = (file: string, more: string, status = 0) =>
  bench.ok(`appraise ${file} ${more} --json`, { ...WS, status }).json;

/** Changes one byte of what a unit's flash holds at an address. */
function patch(name: string, address: number): void {
  const path = bench.path('WS', `${name}.unit`);
  const { regions } = bench.ok(`unit show ${name}.unit --json`, WS).json;
  const bytes = readFileSync(path);
  const slot = regions.find((each: { name: string }) => each.name === 'slot A');
  bytes[slot.offset + address - SLOT_A]! ^= 1;
  writeFileSync(path, bytes);
}

describe('RFC 9334 5, 10.2: challenge, evidence, appraisal', () => {
  it('a genuine unit: every claim holds, once', () => {
    const token = answered('vent-0001');
    bench.ok('fleet import', WS);
    const first = appraise(token, '--envelope app.suit');
    expect(first).toMatchObject({
      format: 'fieldseal.appraisal/1',
      verdict: 'genuine',
      refusal: null,
      sender: { class: 'vent', serial: '0001', proved_by: 'unit key' },
      release: { version: '1.4.0', sequence_number: '1' },
      told: { dbgstat: 'disabled-since-boot', swversion: '1.4.0', bootcount: 1 },
    });
    expect(first.limits.length).toBeGreaterThan(2);
    expect(appraise(token, '--envelope app.suit', 1).refusal.code).toBe('nonce-used');
    // The fleet store has the appraisal of the answer, and nothing of its replay.
    const { history, attested } = bench.ok('fleet show 0001 --class vent --json', WS).json;
    expect(attested).toMatch(/^genuine, /);
    expect(history.filter(({ kind }: { kind: string }) => kind === 'attestation')).toHaveLength(1);
    const ledger = bench.ok('ledger list --json', WS).json;
    expect(ledger.entries.filter(({ kind }: { kind: string }) => kind === 'attested')).toHaveLength(1);
    expect(bench.ok('ledger check --json', WS).json.intact).toBe(true);
  });

  it('the image is the firmware file, or the one inside the envelope; without it nothing is concluded', () => {
    const token = answered('vent-0001');
    expect(appraise(token, '', 4)).toMatchObject({ verdict: 'incomplete', refusal: null });
    expect(appraise(token, '--image next.bin', 4).verdict).toBe('incomplete');
    expect(appraise(token, '--image app.bin').verdict).toBe('genuine');
  });

  it('a region by address and length; a nonce of 8 bytes and of 64', () => {
    const page = answered(
      'vent-0001',
      `--address 0x${(SLOT_A + PAGE).toString(16)} --length 4KiB --nonce-bytes 8`,
    );
    expect(appraise(page, '--envelope app.suit').told.measurement).toMatchObject({
      area: 'A',
      address: SLOT_A + PAGE,
      size_bytes: PAGE,
    });
    const named = answered('vent-0001', '--region A --nonce-bytes 64');
    expect(appraise(named, '--envelope app.suit').verdict).toBe('genuine');
  });

  it('an answer is taken only where its challenge was made, by units that are on record', () => {
    const token = answered('vent-0001');
    bench.ok('init OTHER --vendor-domain hollinridge.example');
    const elsewhere = bench.ok(`appraise ../WS/${token} --json`, { cwd: 'OTHER', status: 1 }).json;
    expect(elsewhere.refusal.code).toBe('unit-unknown');
    const made = bench.path('WS', 'private', 'challenges');
    renameSync(made, `${made}-away`);
    expect(appraise(token, '--envelope app.suit', 1).refusal.code).toBe('nonce-unknown');
    renameSync(`${made}-away`, made);
    expect(appraise(token, '--envelope app.suit').verdict).toBe('genuine');
  });

  it('a symmetric class: signed by the unit, or MACed under a key of its own label', () => {
    expect(appraise(answered('dosing-0001'), '--envelope dose.suit').sender.proved_by).toBe('unit key');
    const maced = appraise(answered('dosing-0001', '', '--mac'), '--envelope dose.suit');
    expect(maced).toMatchObject({ verdict: 'genuine', sender: { proved_by: 'class key' } });
  });

  it('a report is no token, and a token no report', () => {
    bench.ok('report make vent-0001.unit --out r.report', WS);
    expect(appraise('r.report', '', 1).refusal.code).toBe('token-malformed');
    const token = answered('vent-0001');
    expect(bench.ok(`report appraise ${token} --json`, { ...WS, status: 1 }).json.refusal.code).toBe(
      'container-malformed',
    );
  });

  it('units answer for themselves, once started, and only about code', () => {
    bench.ok('challenge vent 0002 --out other.challenge', WS);
    const refused = (line: string) => bench.ok(`${line} --json`, { ...WS, status: 1 }).json.error.code;
    expect(refused('answer vent-0001.unit --challenge other.challenge --out x.eat')).toBe(
      'challenge-for-another-unit',
    );
    expect(refused('answer vent-0002.unit --challenge other.challenge --out x.eat')).toBe('nothing-runs');
    expect(refused('answer vent-0001.unit --challenge app.suit --out x.eat')).toBe('challenge-malformed');
    for (const region of [
      '--region state',
      '--region C',
      '--address 0x08000000 --length 1',
      '--address 0 --length 4KiB',
    ])
      bench.ok(`challenge vent 0001 --out y.challenge ${region}`, { ...WS, status: 2 });
    bench.ok('challenge vent 0001 --out y.challenge --nonce-bytes 7', { ...WS, status: 2 });
    bench.ok('challenge vent 0009 --out y.challenge', { ...WS, status: 2 });
  });

  it('an answer that comes too late is refused', () => {
    const token = answered('vent-0001', '--hours 0');
    expect(appraise(token, '--envelope app.suit', 1).refusal.code).toBe('nonce-expired');
  });
});

describe('units that are not as they should be', () => {
  it('one byte of code changed in the flash: told by the next answer', () => {
    copyFileSync(bench.path('WS', 'vent-0001.unit'), bench.path('WS', 'patched.unit'));
    patch('patched', SLOT_A + 5000);
    bench.ok('challenge vent 0001 --out p.challenge', WS);
    bench.ok('answer patched.unit --challenge p.challenge --out p.eat', WS);
    const told = appraise('p.eat', '--envelope app.suit', 1);
    expect(told.refusal.code).toBe('measurement-differs');
    expect(told.claims.find(({ claim }: { claim: string }) => claim === 'software').result).toBe('holds');
  });

  it('code behind the image, in the erased rest of the slot, is told too', () => {
    copyFileSync(bench.path('WS', 'vent-0001.unit'), bench.path('WS', 'behind.unit'));
    patch('behind', SLOT_A + 200_000);
    bench.ok('challenge vent 0001 --out b.challenge', WS);
    bench.ok('answer behind.unit --challenge b.challenge --out b.eat', WS);
    expect(appraise('b.eat', '--envelope app.suit', 1).refusal.code).toBe('measurement-differs');
  });

  it('genuine software that is old: stale, unless it is good enough', () => {
    bench.ok('seal next.bin --class vent --version 1.5.0 --out next.suit', WS);
    const stale = appraise(answered('vent-0001'), '--envelope app.suit', 1);
    expect(stale.refusal.code).toBe('software-stale');
    expect(appraise(answered('vent-0001'), '--envelope app.suit --least-number 1').verdict).toBe('genuine');
  });

  it('an older copy of the unit, marks and all: it was started fewer times than it said', () => {
    copyFileSync(bench.path('WS', 'vent-0001.unit'), bench.path('WS', 'set-back.unit'));
    install('vent-0001', 'next.suit');
    expect(appraise(answered('vent-0001'), '--envelope next.suit').verdict).toBe('genuine');
    bench.ok('challenge vent 0001 --out s.challenge', WS);
    bench.ok('answer set-back.unit --challenge s.challenge --out s.eat', WS);
    const told = appraise('s.eat', '--envelope app.suit --least-number 1', 1);
    expect(told.refusal.code).toBe('boot-count-behind');
  });

  it('encrypted images: the plaintext in the slot is measured', () => {
    bench.ok('class add sealed --model SC-1 --scheme asymmetric', WS);
    describeClass('sealed', (text) => text.replace('confidentiality: none', 'confidentiality: image'));
    bench.ok('provision sealed --serial 0001 --out sealed-0001.unit', WS);
    bench.ok('seal app.bin --class sealed --version 1.0.0 --out sealed.suit', WS);
    install('sealed-0001', 'sealed.suit');
    const token = answered('sealed-0001');
    expect(appraise(token, '--envelope sealed.suit', 4).verdict).toBe('incomplete');
    expect(appraise(token, '--image app.bin').verdict).toBe('genuine');
  });
});

describe('secure boot as a record, and the periodic self-check', () => {
  it('the boot log tells every start, and goes along with an answer', () => {
    const boots = bench.ok('unit boots vent-0001.unit --json', WS).json.boots;
    expect(boots.length).toBeGreaterThan(1);
    expect(boots[0]).toMatchObject({ kind: 'start', runs: 'B', sequence_number: '2', failures: [] });
    expect(boots.map(({ count }: { count: number }) => count)).toEqual(
      boots.map((_: unknown, i: number) => boots.length - i),
    );
    const told = appraise(answered('vent-0001', '', '--boots 2'), '--envelope next.suit').told;
    expect(told.boots).toHaveLength(2);
    expect(told.boots[0].count).toBe(boots[0].count);
  });

  it('sound code: a round passes, and the next answer says so', () => {
    const round = bench.ok('self-check vent-0001.unit --json', WS).json;
    expect(round).toMatchObject({ outcome: 'sound', ticks: 64, rounds: 1, round_seconds: 64 * 30 });
    const told = appraise(answered('vent-0001'), '--envelope next.suit');
    expect(told.claims.find(({ claim }: { claim: string }) => claim === 'self-check').result).toBe('holds');
  });

  it('restart: changed code is found, entered, and the unit falls back to what verifies', () => {
    const path = bench.path('WS', 'vent-0001.unit');
    const { regions } = bench.ok('unit show vent-0001.unit --json', WS).json;
    const bytes = readFileSync(path);
    bytes[regions.find((each: { name: string }) => each.name === 'slot B').offset + 9000]! ^= 1;
    writeFileSync(path, bytes);
    const found = bench.ok('self-check vent-0001.unit --json', { ...WS, status: 1 }).json;
    expect(found).toMatchObject({
      outcome: 'changed',
      finding: {
        reaction: 'restart',
        logged: true,
        restart: { boot: { runs: 'A', failures: ['stored-image-wrong'] } },
      },
    });
    const [start, check] = bench.ok('unit boots vent-0001.unit --json', WS).json.boots;
    expect(start).toMatchObject({ kind: 'start', runs: 'A', failures: ['stored-image-wrong'] });
    expect(check.failures[0]).toMatch(/^code changed at 0x/);
  });

  it('stop: the unit stands still until it is started again, and then runs nothing that has changed', () => {
    patch('dosing-0001', SLOT_A + 100);
    expect(bench.ok('self-check dosing-0001.unit --json', { ...WS, status: 1 }).json.finding.reaction).toBe(
      'stop',
    );
    expect(bench.ok('self-check dosing-0001.unit --json', { ...WS, status: 1 }).json.error.code).toBe(
      'nothing-runs',
    );
    const start = bench.ok('boot dosing-0001.unit --json', { ...WS, status: 1 }).json;
    expect(start.boot).toMatchObject({ logged: true, runs: null, failures: ['stored-image-wrong'] });
  });

  it('a class whose rules no unit could follow is refused with line and field', () => {
    bench.ok('class add odd --model OD-1 --scheme asymmetric', WS);
    describeClass('odd', (text) => `${text}\nattestation: { regions: [C] }\n`);
    const wrong = bench.ok('class check odd', { ...WS, status: 2 });
    expect(wrong.stderr).toContain('attestation.regions[0]');
  });
});
