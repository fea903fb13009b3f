/** Two people approve all that a release brings: a delta by what it is made from, and the images of further components. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { edited } from '../delta/helpers.ts';
import { askedAndApproved, Bench, cortexImage, twoPeople } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const at = (...parts: string[]) => bench.path('WS', ...parts);
const codeOf = (line: string) => bench.run(`${line} --json`, WS).json.error.code;

function edit(name: string, changes: readonly (readonly [RegExp | string, string])[]): void {
  const file = at('classes', `${name}.yaml`);
  const text = changes.reduce((all, [from, to]) => all.replace(from, to), readFileSync(file, 'utf8'));
  writeFileSync(file, text);
  bench.ok(`class check ${name}`, WS);
}

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add thin --model TH-1 --scheme asymmetric', WS);
  edit('thin', [
    ['# approvals: 1', 'approvals: 1'],
    ['# delta_window: 8KiB', 'delta_window: 8KiB'],
  ]);
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  const radio =
    '  components: [{ name: radio, areas: [{ address: 0x90000000, size: 64KiB }, { address: 0x90010000, size: 64KiB }], started: true }]';
  edit('vent', [
    ['# approvals: 1', 'approvals: 1'],
    [/\n {2}leave_out: \[\]/, `\n  leave_out: []\n${radio}`],
  ]);
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  twoPeople(bench, 'WS');
  const old = cortexImage(30_000, 0x21);
  const next = Buffer.concat([old.subarray(0, 8), Buffer.from(edited(old.subarray(8), 3, 12))]);
  writeFileSync(at('old.bin'), old);
  writeFileSync(at('older.bin'), cortexImage(30_000, 0x22));
  writeFileSync(at('new.bin'), next);
  writeFileSync(at('radio.bin'), Buffer.alloc(4_000, 7));
  writeFileSync(at('other-radio.bin'), Buffer.alloc(4_000, 8));
});

describe('a delta', () => {
  it('is approved by what it is made from, and sealed from that alone', () => {
    const first = askedAndApproved(bench, 'WS', 'old.bin --class thin --version 1.0.0');
    bench.ok(`seal old.bin --request ${first} --out first.suit`, WS);
    const line = 'new.bin --class thin --version 1.1.0 --delta-from old.bin';
    const request = askedAndApproved(bench, 'WS', line);
    const shown = bench.ok(`request show ${request} --json`, WS).json;
    expect(shown).toMatchObject({
      detached: true,
      images: [{ delta: { precursor: { digest: expect.any(String) } } }],
    });
    expect(codeOf(`seal new.bin --request ${request} --out a.suit`)).toBe('not-as-requested');
    expect(codeOf(`seal new.bin --request ${request} --delta-from older.bin --out a.suit`)).toMatch(
      /not-as-requested|delta-not-smaller/,
    );
    expect(existsSync(at('a.suit'))).toBe(false);
    bench.ok(`seal new.bin --request ${request} --delta-from first.suit --out a.suit`, WS);
    const evidence = bench.ok(`evidence ${request} --json`, WS).json;
    expect(evidence.images).toMatchObject([{ delta: { precursor_digest: expect.any(String) } }]);
    bench.ok('provision thin --serial 1 --first first.suit --out thin.unit', WS);
    bench.ok('install a.suit --unit thin.unit', WS);
    expect(bench.ok('boot thin.unit --json', WS).json).toMatchObject({ version: '1.1.0' });
  });
});

describe('a further component', () => {
  it('is approved with the image that runs; another image of it, or none, is not sealed', () => {
    const request = askedAndApproved(
      bench,
      'WS',
      'old.bin --class vent --version 1.0.0 --component radio=radio.bin',
    );
    expect(bench.ok(`request show ${request}`, WS).stdout).toMatch(/component radio +4000 B {2}[0-9a-f]{64}/);
    expect(codeOf(`seal old.bin --request ${request} --out v.suit`)).toBe('components-wrong');
    const other = `seal old.bin --request ${request} --component radio=other-radio.bin --out v.suit`;
    expect(codeOf(other)).toBe('not-as-requested');
    const { json } = bench.ok(
      `seal old.bin --request ${request} --component radio=radio.bin --out v.suit --json`,
      WS,
    );
    expect(json).toMatchObject({
      components: [{ name: 'radio', size_bytes: 4000 }],
      approval: { counted: 1 },
    });
    bench.ok('ledger check', WS);
    const evidence = bench.ok(`evidence ${request} --json`, WS).json;
    expect(evidence.components).toMatchObject([{ name: 'radio', size_bytes: 4000, file: 'radio.bin' }]);
  });
});
