/** A leaked key through the built command: RFC 9124 4.3.18, docs/incidents.md, docs/deployment-profile.md section 15. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { fromPem, parseCrl } from '../../src/x509/index.ts';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const json = (line: string, status = 0) => bench.ok(`${line} --json`, { ...WS, status }).json;
const refusalOf = (line: string) => bench.run(`${line} --json`, WS).json.refusal?.code;

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('root create', WS);
  bench.ok('root create --spare', WS);
  bench.ok('signer create line-1 --class vent', WS);
  bench.ok('signer create trust-1 --class vent --purpose trust', WS);
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(9000));
  bench.ok('seal app.bin --class vent --version 1.0.0 --out a.suit', WS);
  for (const serial of ['1', '2'])
    bench.ok(`provision vent --serial ${serial} --first a.suit --out ${serial}.unit`, WS);
});

describe('what leaks is known, answered and proved', () => {
  it('exposure counts the units that hold the root, and names what nothing repairs', () => {
    const exposure = json('exposure line-1');
    expect(exposure).toMatchObject({
      key: { kind: 'signer', root: 'root', classes: ['vent'] },
      incident: 'signer-leak',
    });
    expect(exposure.units).toMatchObject({
      count: 2,
      by_class: [
        { class: 'vent', count: 2, without_trust_updates: 0, without_spare_root: 0, serials: ['1', '2'] },
      ],
    });
    expect(exposure.releases).toMatchObject([{ version: '1.0.0', in_doubt: true }]);
    expect(json('exposure line-1 --since 2090-01-01').releases).toMatchObject([{ in_doubt: false }]);
    expect(json('exposure vent/1').units.count).toBe(1);
  });

  it('units hold the spare root as a spare', () => {
    const { anchors, trust } = json('unit show 1.unit');
    expect(anchors.map(({ label, purpose }: { label: string; purpose: string }) => [label, purpose])).toEqual(
      [
        ['root', 'release'],
        ['spare-root', 'spare'],
      ],
    );
    expect(trust).toBeNull();
  });

  it('a trust update is explained by check, taken by install also after a cut in power, and ends the signer', () => {
    expect(bench.run('trust-update make vent --deny line-1 --out t.suit --json', WS).json.error.code).toBe(
      'trust-locks-out',
    );
    bench.ok('seal app.bin --class vent --version 1.1.0 --out late.suit', WS);
    bench.ok('signer create line-2 --class vent --generation 2', WS);
    json('trust-update make vent --deny line-1 --minimum-generation 2 --out t.suit');
    const checked = json('check t.suit --unit 1.unit');
    expect(checked.facts.trust).toMatchObject({ rank: 'release', minimum_generation: 2 });
    expect(bench.run('install t.suit --unit 1.unit --cut-after 3 --json', WS).status).toBe(3);
    expect(json('boot 1.unit').version).toBe('1.0.0');
    expect(refusalOf('check late.suit --unit 1.unit')).toBeUndefined();
    expect(json('install t.suit --unit 1.unit')).toMatchObject({ slot: null, production_programming: false });
    expect(json('install t.suit --unit 1.unit').facts.effect).toBe('already there');
    expect(refusalOf('check late.suit --unit 1.unit')).toBe('signer-denied');
    expect(refusalOf('check late.suit --unit 2.unit')).toBeUndefined();
    expect(json('unit show 1.unit').trust.policy.denied).toHaveLength(1);
  });

  it('a retired signer seals nothing, and stands on the revocation list (RFC 5280 5)', () => {
    json('signer retire line-1 --reason leaked');
    const sealed = bench.run(
      'seal app.bin --class vent --version 1.2.0 --signer line-1 --out x.suit --json',
      WS,
    );
    expect(sealed).toMatchObject({ status: 1, json: { error: { code: 'signer-retired' } } });
    bench.ok('seal app.bin --class vent --version 1.2.0 --out b.suit', WS);
    expect(refusalOf('check b.suit --unit 1.unit')).toBeUndefined();
    const { number, revoked } = json('revocation-list make --out list.crl');
    const crl = parseCrl(fromPem(readFileSync(bench.path('WS', 'list.crl'), 'utf8'))[0]!.der);
    expect([...crl.revoked.keys()]).toEqual([revoked[0].serial]);
    expect(crl.revoked.get(revoked[0].serial)?.reason).toBe('keyCompromise');
    expect(number).toBe(1);
  });

  it('on the offline machine a certificate is revoked by its serial number', () => {
    bench.ok('authority create OFFLINE --vendor-domain hollinridge.example --trial');
    const unknown = bench.run('authority revoke 0011 --dir OFFLINE --reason leaked --out x.crl --json');
    expect(unknown.json.error.code).toBe('serial-unknown');
  });

  it('the incident file finds the steps on the ledger, and runs its clocks', () => {
    const opened = json('incident open signer-leak --key line-2 --aware 2020-01-01');
    expect(opened.clocks.map(({ overdue }: { overdue: boolean }) => overdue)).toEqual([true, true, false]);
    expect(existsSync(bench.path('WS', opened.file))).toBe(true);
    json('incident done 1 early-warning --note sent');
    expect(json('incident show 1').clocks[0].overdue).toBe(false);
    expect(bench.run('incident close 1 --json', WS).json.error.code).toBe('steps-open');
    json('incident close 1 --reason exercise');
    expect(json('ledger check').intact).toBe(true);
  });
});

describe('drills hold', () => {
  it.each(['root-leak', 'cohort-key-leak'])('%s', (kind) => {
    const { holds, moves } = bench.ok(`drill ${kind} --json`).json;
    expect(moves.filter((move: { holds: boolean }) => !move.holds)).toEqual([]);
    expect(holds).toBe(true);
  });

  it('a kind that nobody knows is wrong use', () => {
    expect(bench.run('drill nonsense --json').status).toBe(2);
  });
});
