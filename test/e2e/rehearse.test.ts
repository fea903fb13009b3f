/** What stands between a sealed release and its broadcast: the rehearsal, through the built command. */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { rehearsalSchema } from '../../src/rehearsal/forgeries/schema.ts';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
  bench.ok('class add lamp --model LC-3 --scheme asymmetric', WS);
  const lamp = bench.path('WS', 'classes', 'lamp.yaml');
  writeFileSync(
    lamp,
    readFileSync(lamp, 'utf8').replace(
      /^confidentiality: none$/m,
      'confidentiality: both\nrecipients: units',
    ),
  );
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  bench.ok('class-key create dosing', WS);
  for (const name of ['vent', 'dosing', 'lamp'])
    bench.ok(`provision ${name} --serial 0001 --out ${name}-0001.unit`, WS);
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(20_000));
  for (const name of ['vent', 'dosing', 'lamp'])
    bench.ok(`seal app.bin --class ${name} --version 1.0.0 --out ${name}.suit`, WS);
  // From here on nobody knows a passphrase: no key is opened.
  bench.environment = { PATH: process.env.PATH, HOME: bench.folder };
});

const entries = () => readdirSync(bench.path('WS', 'ledger')).length;
const lastEntry = () => {
  const name = readdirSync(bench.path('WS', 'ledger')).toSorted().at(-1)!;
  return JSON.parse(readFileSync(bench.path('WS', 'ledger', name), 'utf8'));
};

describe('a release is rehearsed before it is broadcast', () => {
  it.each([
    ['asymmetric', 'vent', '--class vent'],
    ['asymmetric, against a unit', 'vent', '--unit vent-0001.unit'],
    ['symmetric, its key closed', 'dosing', '--class dosing'],
    ['symmetric, against a unit that holds the key', 'dosing', '--unit dosing-0001.unit'],
    ['encrypted, the keys of its units unknown', 'lamp', '--class lamp'],
    ['encrypted, against a unit that decrypts', 'lamp', '--unit lamp-0001.unit'],
  ])('%s: every forgery is refused, without a passphrase', (_, name, against) => {
    const { json } = bench.ok(`rehearse ${name}.suit ${against} --json`, WS);
    const document = rehearsalSchema.parse(json);
    expect(document.outcome).toBe('passed');
    expect(document.counts.failed).toBe(0);
    expect(document.counts.passed).toBeGreaterThan(100);
    expect(document.rows.filter(({ outcome, because }) => outcome === 'exposed' && !because)).toEqual([]);
    expect(document.threats).toHaveLength(18);
  });

  it('asks the real unit what anybody could send, and a stand-in what needs a key', () => {
    const { json } = bench.ok('rehearse vent.suit --class vent --json', WS);
    const asked = (name: string) => json.rows.find((row: { name: string }) => row.name === name).against;
    expect(asked('One bit of the signature')).toBe('unit');
    expect(asked('For another class')).toBe('stand-in');
    expect(json.unit.swapped[0]).toBe('the key of the root');
    const closed = bench.ok('rehearse dosing.suit --class dosing --json', WS).json;
    expect(closed.unit.judged_until).toBe('signer');
    expect(closed.rows.find((row: { name: string }) => row.name === 'One bit of the MAC').against).toBe(
      'stand-in',
    );
    const open = bench.ok('rehearse dosing.suit --unit dosing-0001.unit --json', WS).json;
    expect(open.rows.find((row: { name: string }) => row.name === 'One bit of the MAC').against).toBe('unit');
  });

  it('tells people step by step, and lists what does not apply as exposure', () => {
    const { stdout } = bench.ok('rehearse vent.suit --class vent', WS);
    expect(stdout).toContain('1. envelope');
    expect(stdout).toContain('exposure: does not apply here, and was not tried');
    expect(stdout).toMatch(
      /rehearsed: \d+ forgeries: \d+ refused as they must be, 0 failed, \d+ do not apply/,
    );
  });

  it('writes the result for the evidence, and enters the outcome in the ledger', () => {
    bench.ok('rehearse vent.suit --class vent --out vent.rehearsal.json', WS);
    const written = rehearsalSchema.parse(
      JSON.parse(readFileSync(bench.path('WS', 'vent.rehearsal.json'), 'utf8')),
    );
    expect(lastEntry()).toMatchObject({
      kind: 'rehearsed',
      facts: {
        class: 'vent',
        outcome: 'passed',
        envelope_sha256: written.envelope.sha256,
        passed: written.counts.passed,
        failed: 0,
        exposed: written.counts.exposed,
        failures: [],
      },
    });
    bench.ok('ledger check', WS);
    const before = entries();
    expect(bench.run('rehearse vent.suit --class vent --out vent.rehearsal.json', WS).status).toBe(2);
    expect(entries()).toBe(before);
    bench.ok('rehearse vent.suit --class vent --out vent.rehearsal.json --force', WS);
  });
});

describe('a payload that is not taken is told first, and none of it is forged', () => {
  it('sealed for another class', () => {
    const { status, json } = bench.run('rehearse dosing.suit --class vent --json', WS);
    expect(status).toBe(1);
    expect(json).toMatchObject({ outcome: 'not taken', counts: { rows: 0 }, rows: [] });
    expect(json.refusal.code).toBe('scheme-wrong');
    const other = bench.run('rehearse lamp.suit --class vent --json', WS);
    expect(other.json.refusal.code).toBe('class-wrong');
    expect(other.status).toBe(1);
    expect(lastEntry().facts).toMatchObject({ outcome: 'not taken', refusal: 'class-wrong' });
  });

  it('cut short', () => {
    const whole = readFileSync(bench.path('WS', 'vent.suit'));
    writeFileSync(bench.path('WS', 'cut.suit'), whole.subarray(0, -1));
    const { status, stdout } = bench.run('rehearse cut.suit --class vent', WS);
    expect(status).toBe(1);
    expect(stdout).toContain('not rehearsed: the unit refuses the payload itself');
    expect(stdout).toContain('envelope-malformed');
  });

  it('older than what the unit has', () => {
    bench.environment = { ...bench.environment, FIELDSEAL_PASSPHRASE: 'vents open at dawn' };
    bench.ok('seal app.bin --class vent --version 1.1.0 --out later.suit', WS);
    for (const line of [
      'install later.suit --unit vent-0001.unit',
      'boot vent-0001.unit',
      'keep vent-0001.unit',
    ])
      bench.ok(line, WS);
    const { status, json } = bench.run('rehearse vent.suit --unit vent-0001.unit --json', WS);
    expect(status).toBe(1);
    expect(json.refusal.code).toBe('sequence-number-too-low');
    const again = bench.run('rehearse later.suit --unit vent-0001.unit --json', WS);
    expect(again.json).toMatchObject({ outcome: 'not taken', why: 'the unit holds this payload already' });
    expect(again.status).toBe(3);
  });

  it('and wrong use is told as such', () => {
    const before = entries();
    expect(bench.run('rehearse vent.suit', WS).status).toBe(2);
    expect(bench.run('rehearse vent.suit --class vent --unit vent-0001.unit', WS).status).toBe(2);
    expect(bench.run('rehearse nowhere.suit --class vent', WS).status).toBe(3);
    expect(entries()).toBe(before);
  });
});
