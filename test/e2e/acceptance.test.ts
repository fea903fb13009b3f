import { createHash } from 'node:crypto';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, test } from 'vitest';
import { acceptanceSchema } from '../../src/rehearsal/acceptance/schema.ts';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const at = '--workspace greenhouse';
const FLEET = 'fleet.csv';

/** The fleet of Hollin Ridge as its service desk exports it: vents on the old and the new release, and some surprises. */
const ROWS = [
  'Serial No;Product;Firmware;RTC;Roots;Battery mWh;Link;Remark',
  '0001;VC-2;1.4.0;N;root;8000;lorawan-eu-dr0;north house',
  '0002;VC-2;1.4.0;N;root;3;lorawan-eu-dr0;battery to be changed',
  '0003;VC-2;1.3.0;Y;root;8000;nb-iot;"south; second row"',
  '0004;VC-2;1.3.0;N;spare;8000;;provisioned under the spare root',
  '0005;VC-2;9.9.9;N;root;8000;;a version that nobody sealed',
  '0006;VC-9;1.0.0;N;root;8000;;not ours',
  '0007;DC-1;2.0.0;N;root;8000;;dosing',
];
const COLUMNS = `format: fieldseal.inventory-columns/1
delimiter: ";"
facts:
  serial: "Serial No"
  class: { column: Product, values: { VC-2: vent, DC-1: dosing } }
  version: Firmware
  clock: { column: RTC, values: { Y: "yes", N: "no" } }
  anchors: Roots
  battery_mwh: "Battery mWh"
  link: Link
`;

beforeAll(() => {
  bench.ok('init greenhouse --vendor-domain hollinridge.example');
  bench.ok(`class add vent --model VC-2 --scheme asymmetric ${at}`);
  bench.ok(`class add dosing --model DC-1 --scheme symmetric ${at}`);
  bench.ok(`root create ${at}`);
  bench.ok(`root create --name spare ${at}`);
  bench.ok(`signer create line-1 ${at}`);
  bench.ok(`class-key create dosing ${at}`);
  for (const [i, version] of ['1.3.0', '1.4.0', '1.5.0'].entries()) {
    writeFileSync(bench.path(`${version}.bin`), cortexImage(20_000, i + 1));
    bench.ok(`seal ${version}.bin --class vent --version ${version} --out ${version}.suit ${at}`);
  }
  bench.ok(`seal 1.3.0.bin --class dosing --version 2.0.0 --out dosing-2.0.0.suit ${at}`);
  bench.ok(`seal 1.4.0.bin --class dosing --version 2.1.0 --out dosing-2.1.0.suit ${at}`);
  writeFileSync(bench.path(FLEET), `${ROWS.join('\r\n')}\r\n`);
  writeFileSync(bench.path('columns.yaml'), COLUMNS);
});

const ask = (payload: string, more = '', status = 1) =>
  bench.ok(`rehearse ${payload} --units ${FLEET} --columns columns.yaml ${more} ${at}`, { status });

describe('fieldseal rehearse --units', () => {
  test('who would accept, who would refuse and why, whom nobody could ask, and what to change', () => {
    const { json } = ask('1.5.0.suit', '--json');
    const document = acceptanceSchema.parse(json);
    expect(document.outcome).toBe('some are left behind');
    expect(document.counts).toMatchObject({ units: 7, accepted: 3, refused: 2, unread: 2, low_battery: 1 });
    expect(document.remedies.map(({ code, units }) => [code, units])).toEqual([
      ['signer-not-anchored', 1],
      ['scheme-wrong', 1],
    ]);
    expect(document.unread).toEqual([
      {
        fact: 'version',
        expected: 'a version on record, or a sequence number beside it',
        units: 1,
        examples: [{ line: 6, serial: '0005', found: '9.9.9' }],
      },
      {
        fact: 'class',
        expected: 'one of the classes dosing, vent',
        units: 1,
        examples: [{ line: 7, serial: '0006', found: 'VC-9' }],
      },
    ]);
    expect(document.inventory.unused_columns).toEqual(['Remark']);
    expect(document.inventory.sha256).toBe(
      createHash('sha256')
        .update(readFileSync(bench.path(FLEET)))
        .digest('hex'),
    );
  });

  test('for people: one line for each group, the refusal with its step, and the next move', () => {
    const { stdout, stderr } = ask('1.5.0.suit');
    expect(stdout).toContain('7 in 4 group(s) that differ to this payload');
    expect(stdout).toMatch(/1 {2}refuse {2}vent {2}signer: signer-not-anchored {2}\(0004\)/);
    expect(stdout).toContain('fieldseal signature add');
    expect(stdout).toContain('some are left behind');
    expect(stderr).toContain('1 unit of them hold less energy than receiving, writing and one retry take');
  });

  test('once everybody can take it: exit status 0, the result in a file, and an entry in the ledger', () => {
    const fleet = [ROWS[0], ROWS[1], ROWS[3]].join('\n');
    writeFileSync(bench.path('good.csv'), fleet);
    const line = `rehearse 1.5.0.suit --units good.csv --columns columns.yaml --out asked.json --json ${at}`;
    const { json } = bench.ok(line);
    expect(json.outcome).toBe('everyone accepts');
    expect(acceptanceSchema.parse(JSON.parse(readFileSync(bench.path('asked.json'), 'utf8')))).toEqual(json);
    const entry = bench.ok(`ledger list --json ${at}`).json.entries.at(-1);
    expect(entry).toMatchObject({
      kind: 'acceptance-rehearsed',
      facts: { outcome: 'everyone accepts', units: 2, accepted: 2, manifest_digest: json.manifest_digest },
    });
    bench.ok(`ledger check ${at}`);
    expect(bench.run(line).status).toBe(2);
  });

  test('the release before: units that run the newer one refuse it, those that run it have it already', () => {
    const { json } = ask('1.4.0.suit', '--json');
    const saying = (code: string | null) =>
      json.groups
        .filter((group: { refusal: { code: string } | null }) => (group.refusal?.code ?? null) === code)
        .reduce((sum: number, { units }: { units: number }) => sum + units, 0);
    expect(saying(null)).toBe(3);
    expect(saying('sequence-number-too-low')).toBe(0);
    const older = bench.run(`rehearse 1.3.0.suit --units good.csv --columns columns.yaml --json ${at}`).json;
    expect(older.remedies[0]).toMatchObject({ code: 'sequence-number-too-low', units: 1 });
    expect(older.remedies[0].changes[0]).toContain('a number above 2');
  });

  test('the symmetric scheme: no class key is opened, and no passphrase asked', () => {
    const { FIELDSEAL_PASSPHRASE: _, ...without } = bench.environment;
    const before = bench.environment;
    bench.environment = without;
    try {
      writeFileSync(bench.path('dosing.jsonl'), '{"serial":"0007","class":"dosing","version":"2.0.0"}\n');
      const { json, stderr } = bench.ok(`rehearse dosing-2.1.0.suit --units dosing.jsonl --json ${at}`);
      expect(json).toMatchObject({ outcome: 'everyone accepts', stand_in_mac: true });
      expect(stderr).toBe('');
    } finally {
      bench.environment = before;
    }
  });

  test('a forgery: every unit refuses it, at the step where it falls', () => {
    const forged = readFileSync(bench.path('1.5.0.suit'));
    forged[forged.length - 100]! ^= 1;
    writeFileSync(bench.path('forged.suit'), forged);
    const { json } = ask('forged.suit', '--json');
    expect(json.counts.accepted).toBe(0);
    expect(json.remedies[0]).toMatchObject({ code: 'image-digest-wrong', step: 'image', units: 3 });
  });

  test('mistakes are told with the file, the line and what was expected; nothing is written', () => {
    writeFileSync(bench.path('wrong.yaml'), COLUMNS.replace('serial:', 'serail:'));
    const wrong = bench.run(`rehearse 1.5.0.suit --units ${FLEET} --columns wrong.yaml ${at}`);
    expect(wrong.status).toBe(2);
    expect(wrong.stderr).toContain(
      'wrong.yaml:4:3: facts.serail: expected a known field (did you mean serial?)',
    );
    writeFileSync(bench.path('plain.csv'), 'Serial,Product\n0001,VC-2\n');
    const plain = bench.run(`rehearse 1.5.0.suit --units plain.csv --out never.json ${at}`);
    expect(plain.status).toBe(2);
    expect(plain.stderr).toContain('line 1 of the inventory: nothing says which column holds the serial');
    expect(existsSync(bench.path('never.json'))).toBe(false);
    expect(bench.run(`rehearse 1.5.0.suit --units none.csv ${at}`).status).toBe(3);
    const both = bench.run(`rehearse 1.5.0.suit --units ${FLEET} --class vent ${at}`);
    expect(both.stderr).toContain('--class does not go with --units');
  });

  test('an energy that is asked for counts in place of the computed one', () => {
    const { json } = ask('1.5.0.suit', '--minimum-battery 8001 --json');
    expect(json.counts.low_battery).toBe(5);
    expect(json.minimum_battery).toBe('8001 mWh, as given');
  });
});
