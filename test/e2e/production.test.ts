/** The production line at the command line: jobs, results that are not as they should be, books, first firmware. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const file = (name: string) => bench.path('WS', name);
const books = (batch: string) => bench.ok(`batch show ${batch} --json`, WS).json.batches[0].books;

/** Issues and runs a batch; gives its identifier and what the station brings back. */
function batchOf(serials: readonly string[], name: string) {
  writeFileSync(file(`${name}.txt`), serials.join('\n'));
  bench.ok(`batch issue vent --serials ${name}.txt --out ${name}.job`, WS);
  bench.ok(`batch run ${name}.job --units ${name}-units --out ${name}.result`, WS);
  const result = JSON.parse(readFileSync(file(`${name}.result`), 'utf8'));
  return { batch: result.batch as string, result };
}

/** Hex of the same length whose last digit is another. */
function otherEnd(hex: string) {
  return `${hex.slice(0, -1)}${hex.endsWith('0') ? '1' : '0'}`;
}

function accept(result: unknown, status: number) {
  writeFileSync(file('brought.json'), JSON.stringify(result));
  return bench.ok('batch accept brought.json --json', { ...WS, status }).json;
}

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  writeFileSync(file('app.bin'), cortexImage(9_000));
  bench.ok('seal app.bin --class vent --version 1.0.0 --out first.suit', WS);
  bench.ok('seal app.bin --class vent --version 1.1.0 --detached --out detached.suit', WS);
});

describe("a station's result", () => {
  it('makes a unit provisioned only where all of it is what was issued', () => {
    const { batch, result } = batchOf(['10', '11'], 'a');
    const changed = (change: (unit: Record<string, never> & typeof result) => void) => {
      const copy = structuredClone(result);
      change(copy.units[0]);
      copy.units.length = 1;
      return accept(copy, 1).units[0];
    };
    const wrong: [(unit: typeof result) => void, RegExp][] = [
      [(unit) => (unit.anchors_read_back[0].spki = otherEnd(unit.anchors_read_back[0].spki)), /anchors/],
      [(unit) => (unit.anchors_read_back = []), /anchors/],
      [(unit) => (unit.overwrite_attempt.observed = 'overwritten'), /not locked/],
      [(unit) => (unit.overwrite_attempt.attempted = false), /not proved/],
      [(unit) => (unit.debug = 'open'), /debug port is open/],
      [(unit) => unit.unit_keys.pop(), /key is missing/],
      [(unit) => (unit.unit_keys[0].spki = '3059'), /not a P-256 or Ed25519/],
      [(unit) => (unit.serial = '99'), /not issued/],
      [(unit) => (unit.first_envelope_sha256 = '00'.repeat(32)), /first firmware/],
    ];
    for (const [change, says] of wrong) {
      const judged = changed(change);
      expect(judged.outcome).toBe('open');
      expect(judged.problems.join('; ')).toMatch(says);
    }
    expect(books(batch)).toEqual({ issued: 2, provisioned: 0, scrapped: 0, open: 2 });
  });

  it('taken in twice, or in two parts, changes nothing and keeps the books', () => {
    const { batch, result } = batchOf(['20', '21', '22'], 'b');
    const part = structuredClone(result);
    part.units.length = 2;
    accept(part, 0);
    expect(books(batch)).toEqual({ issued: 3, provisioned: 2, scrapped: 0, open: 1 });
    for (let time = 0; time < 2; time++) accept(result, 0);
    expect(books(batch)).toEqual({ issued: 3, provisioned: 3, scrapped: 0, open: 0 });
    const other = structuredClone(result);
    other.units[0].unit_keys.reverse();
    expect(accept(other, 1).units[0].problems.join()).toMatch(/on record/);
    bench.ok('ledger check', WS);
  });

  it('of another batch, cut off, or no result at all is refused in words', () => {
    const { result } = batchOf(['30'], 'c');
    expect(accept({ ...result, batch: 'no-such-batch' }, 2).error.message).toContain('no-such-batch');
    expect(accept({ ...result, units: undefined }, 2).error.message).toMatch(/units/);
    writeFileSync(file('cut.json'), JSON.stringify(result).slice(0, 100));
    bench.ok('batch accept cut.json', { ...WS, status: 2 });
    bench.ok('batch accept app.bin', { ...WS, status: 2 });
    bench.ok('batch run c.result --units x-units --out x.json', { ...WS, status: 2 });
  });

  it('a job that was run is not run over the units it made', () => {
    const before = readFileSync(file('c-units/vent-30.unit'));
    bench.ok('batch run c.job --units c-units --out again.json', { ...WS, status: 2 });
    expect(readFileSync(file('c-units/vent-30.unit')).equals(before)).toBe(true);
  });

  it('serial numbers are given once, and are serial numbers', () => {
    for (const [name, list] of [
      ['twice', '40\n40\n'],
      ['none', '\n\n'],
      ['path', '../40\n'],
    ] as const) {
      writeFileSync(file(`${name}.txt`), list);
      bench.ok(`batch issue vent --serials ${name}.txt --out ${name}.job`, { ...WS, status: 2 });
      expect(existsSync(file(`${name}.job`))).toBe(false);
    }
    for (const serial of ['a b', '../40', '']) {
      const more = ['--serial', serial, '--out', 'odd.unit'];
      expect(bench.run('provision vent', { ...WS, more }).status).toBe(2);
      expect(existsSync(file('odd.unit'))).toBe(false);
    }
  });
});

describe('the first firmware', () => {
  it('is installed, started and kept, and its floors hold', () => {
    bench.ok('provision vent --serial 50 --first first.suit --out 50.unit', WS);
    expect(bench.ok('boot 50.unit --json', WS).json).toMatchObject({ version: '1.0.0', state: 'kept' });
    expect(bench.ok('unit show 50.unit --json', WS).json.floors.sequence_number).toBe(1);
  });

  it('that the unit refuses, or that is not whole, leaves no unit behind', () => {
    bench.ok('provision vent --serial 51 --first detached.suit --out 51.unit', { ...WS, status: 1 });
    writeFileSync(file('forged.suit'), Buffer.from(readFileSync(file('first.suit'))).fill(0, 900, 950));
    const refused = bench.ok('provision vent --serial 51 --first forged.suit --out 51.unit --json', {
      ...WS,
      status: 1,
    });
    expect(refused.json.error.message).toMatch(/refus|does not take/);
    bench.ok('provision vent --serial 51 --first nowhere.suit --out 51.unit', { ...WS, status: 3 });
    expect(existsSync(file('51.unit'))).toBe(false);
    bench.ok('provision vent --serial 51 --first detached.suit --image app.bin --out 51.unit', WS);
  });

  it('a file that is there already is never lost to a provisioning that fails', () => {
    const before = readFileSync(file('first.suit'));
    for (const more of ['', '--first nowhere.suit', '--recovery nowhere.bin', '--first detached.suit'])
      expect(bench.run(`provision vent --serial 60 --out first.suit ${more}`, WS).status).not.toBe(0);
    expect(readFileSync(file('first.suit')).equals(before)).toBe(true);
  });
});

describe('what must be there first', () => {
  it('is named, with the command that makes it', () => {
    expect(bench.ok('provision dosing --serial 1 --out d.unit', { ...WS, status: 2 }).stderr).toContain(
      'class-key create dosing',
    );
    expect(bench.ok('header dosing --out d.h', { ...WS, status: 2 }).stderr).toContain(
      'class-key create dosing',
    );
    expect(bench.ok('class-key create vent', { ...WS, status: 2 }).stderr).toContain('signer create');
    bench.ok('init BARE --vendor-domain hollinridge.example');
    const BARE = { cwd: 'BARE' };
    bench.ok('class add vent --model VC-2 --scheme asymmetric', BARE);
    expect(bench.ok('provision vent --serial 1 --out v.unit', { ...BARE, status: 2 }).stderr).toContain(
      'root create',
    );
    expect(bench.ok('signer create line-1', { ...BARE, status: 2 }).stderr).toContain('root create');
    expect(bench.run('seal ../WS/app.bin --class vent --version 1 --out v.suit', BARE).stderr).toContain(
      'signer create',
    );
    expect(bench.run('class list', {}).stderr).toContain('fieldseal init');
  });
});
