/** The evidence for a release at the command line: sealed by two people, rehearsed, asked of an inventory, and put on one page. */
import { readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { askedAndApproved, Bench, cortexImage, twoPeople } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const file = (name: string) => bench.path('WS', name);

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  const yaml = file('classes/vent.yaml');
  const said = 'approvals: 1\nplan: { support_until: "2034-06-30" }';
  writeFileSync(yaml, readFileSync(yaml, 'utf8').replace('# approvals: 1', said));
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  bench.ok('provision vent --serial 0001 --out 1.unit', WS);
  bench.ok('plan vent --out plan.md --decided-by Ada', WS);
  twoPeople(bench, 'WS');
  writeFileSync(file('app.bin'), cortexImage(9_000));
  const request = askedAndApproved(bench, 'WS', 'app.bin --class vent --version 1.0.0');
  bench.ok(`seal app.bin --request ${request} --out a.suit`, WS);
});

describe('fieldseal evidence', () => {
  it('is one page with all that was done, and the same one again', () => {
    bench.run('rehearse a.suit --unit 1.unit --out forgeries.json', WS);
    writeFileSync(file('fleet.csv'), 'serial,class\n0001,vent\n0002,vent\n');
    bench.run('rehearse a.suit --units fleet.csv --out acceptance.json', WS);
    const line = 'evidence vent/1 --envelope a.suit --rehearsal forgeries.json --acceptance acceptance.json';
    const told = bench.ok(`${line} --out one.html --json`, WS).json;
    expect(told).toMatchObject({
      format: 'fieldseal.evidence/1',
      approval: { requested_by: 'Ada Brook', counted: 1, holds: true },
      support_until: '2034-06-30',
      plan: { decided_by: 'Ada' },
      production: { units: 1, lock_proved: 1, debug_closed: 1 },
      ledger: { intact: true },
      acceptance: [{ counts: { units: 2 }, on_ledger: true }],
    });
    expect(told.rehearsals).toMatchObject([{ on_ledger: true }]);
    expect(told.rehearsals[0].counts.rows).toBeGreaterThanOrEqual(80);
    bench.ok(`${line} --out two.html`, WS);
    const page = readFileSync(file('one.html'), 'utf8');
    expect(readFileSync(file('two.html'), 'utf8')).toBe(page);
    for (const text of [
      'Bela Marsh',
      'line-1',
      'THREAT.IMG.EXTRA',
      'REQ.SEC.SEQUENCE',
      'ETSI EN 303 645',
      '2034-06-30',
    ])
      expect(page).toContain(text);
  });

  it('says what was not done, and takes nothing that is about something else', () => {
    const bare = bench.ok('evidence vent/1', WS).stdout;
    expect(bare).toMatch(/rehearsed +not done/);
    expect(bare).toMatch(/acceptance +not done/);
    bench.ok('evidence vent/1 --envelope app.bin', { ...WS, status: 1 });
    bench.ok('evidence vent/1 --rehearsal app.bin', { ...WS, status: 2 });
    bench.ok('evidence vent/7', { ...WS, status: 2 });
    bench.ok('evidence vent/1 --out one.html', { ...WS, status: 2 });
  });
});
