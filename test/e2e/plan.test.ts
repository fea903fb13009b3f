/** The trust plan at the command line: what it says, the decision record, and its entry in the ledger. */
import { createHash } from 'node:crypto';
import { existsSync, readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { trustPlanSchema } from '../../src/plan/trust/schema.ts';
import { Bench } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const file = (name: string) => bench.path('WS', name);

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
});

describe('fieldseal plan', () => {
  it('tells what follows before there is a key, and changes nothing', () => {
    const before = bench.ok('ledger list --json', WS).json;
    const { stdout } = bench.ok('plan vent', WS);
    for (const text of [
      'no signer yet',
      'suit-sha256-hsslms-a256kw-a256ctr',
      'threats of RFC 9124',
      'there is no root yet',
    ])
      expect(stdout).toContain(text);
    expect(bench.ok('plan dosing', WS).stdout).toContain('ETSI EN 303 645 provision 5.4-4');
    expect(bench.ok('ledger list --json', WS).json).toEqual(before);
  });

  it('writes a decision record, and enters who decided with the digest of each file', () => {
    const more = ['--decided-by', 'Ada Brook, Bela Marsh'];
    bench.ok('plan vent', { ...WS, more, status: 2 });
    bench.ok('plan vent --out vent.md --out-json vent.json', { ...WS, more });
    const plan = trustPlanSchema.parse(JSON.parse(readFileSync(file('vent.json'), 'utf8')));
    expect(plan.threats).toHaveLength(18);
    expect(readFileSync(file('vent.md'), 'utf8')).toContain('## Signed off');
    const entry = bench.ok('ledger list --json', WS).json.entries.at(-1);
    const digest = (name: string) =>
      createHash('sha256')
        .update(readFileSync(file(name)))
        .digest('hex');
    expect(entry).toMatchObject({
      kind: 'plan-decided',
      facts: { class: 'vent', decided_by: more[1], files: [digest('vent.md'), digest('vent.json')] },
    });
    bench.ok('plan vent --out vent.md', { ...WS, status: 2 });
    bench.ok('plan nowhere --out other.md', { ...WS, status: 2 });
    expect(existsSync(file('other.md'))).toBe(false);
  });
});
