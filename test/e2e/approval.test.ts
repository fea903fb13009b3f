/** Two people at the command line: one asks, another one reads what is asked and allows it, and only that is sealed. */
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { askedAndApproved, Bench, cortexImage, twoPeople } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const codeOf = (line: string) => bench.run(`${line} --json`, WS).json.error.code;
const digest = (file: string) =>
  createHash('sha256')
    .update(readFileSync(bench.path('WS', file)))
    .digest('hex');

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  const file = bench.path('WS', 'classes', 'vent.yaml');
  writeFileSync(file, readFileSync(file, 'utf8').replace('# approvals: 1', 'approvals: 1'));
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  twoPeople(bench, 'WS');
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(9_000));
  writeFileSync(bench.path('WS', 'other.bin'), cortexImage(9_000, 0x11));
});

describe('a release that two people make', () => {
  it('is asked for, read, approved by the digest of the build, sealed, and taken by a unit', () => {
    const asked = bench.ok('request make app.bin --class vent --version 1.0.0 --requester ada', WS).stdout;
    expect(asked).toContain('sealing request vent/1: open');
    expect(codeOf('seal app.bin --request vent/1 --out a.suit')).toBe('approvals-too-few');
    expect(codeOf('approve vent/1 --approver ada')).toBe('approval-own');
    expect(codeOf(`approve vent/1 --approver bela --image-digest ${digest('other.bin')}`)).toBe(
      'not-as-requested',
    );
    const approved = bench.ok(`approve vent/1 --approver bela --image-digest ${digest('app.bin')}`, WS);
    for (const text of [
      '1.0.0, sequence number 1',
      digest('app.bin'),
      '9000 B for 0x08000000',
      'B 0x08040000',
    ])
      expect(approved.stdout).toContain(text);
    expect(approved.stdout).toContain('approved by bela: 1 of 1');
    expect(codeOf('seal other.bin --request vent/1 --out a.suit')).toBe('not-as-requested');
    expect(existsSync(bench.path('WS', 'a.suit'))).toBe(false);
    const sealed = bench.ok('seal app.bin --request vent/1 --out a.suit', WS).stdout;
    expect(sealed).toMatch(/asked for by +Ada Brook\n +approved by +Bela Marsh/);
    bench.ok('provision vent --serial 1 --first a.suit --out v1.unit', WS);
    expect(codeOf('seal app.bin --request vent/1 --out b.suit')).toBe('request-used');
    bench.ok('ledger check', WS);
  });

  it('is not made of one without a request, nor of one that was withdrawn', () => {
    expect(codeOf('seal app.bin --class vent --version 2.0.0 --out c.suit')).toBe('approval-needed');
    const request = askedAndApproved(bench, 'WS', 'app.bin --class vent --version 2.0.0');
    bench.ok(`withdraw ${request}`, { ...WS, more: ['--reason', 'wrong build'] });
    expect(codeOf(`seal app.bin --request ${request} --out c.suit`)).toBe('request-withdrawn');
    expect(bench.ok('request list --json', WS).json.requests).toMatchObject([
      { request: 'vent/1', state: 'used up' },
      { request, state: 'withdrawn' },
    ]);
  });

  it('takes nothing beside the request that the request settles, and tells wrong use from refusals', () => {
    const wrong = [
      'seal app.bin --request vent/1 --class vent --out c.suit',
      'seal app.bin --request vent/1 --signer line-1 --out c.suit',
      'seal app.bin --out c.suit',
      'approve vent/1 --approver bela --image-digest 12ab',
      'request show vent/99',
      'request show nonsense',
      'request make app.bin --class vent --version 1 --requester ada --days 400',
    ];
    for (const line of wrong) expect(bench.run(line, WS).status, line).toBe(2);
    expect(codeOf('request make app.bin --class vent --version 1 --requester line-1')).toBe('approver-unfit');
  });

  it('in a production workspace no approver is opened by the passphrase that opens the signers', () => {
    bench.ok('init PW --vendor-domain hollinridge.example --production');
    const { FIELDSEAL_APPROVER_PASSPHRASE: _, ...rest } = bench.environment;
    const before = bench.environment;
    bench.environment = rest;
    const refused = bench.run('approver create ada --json', { cwd: 'PW', more: ['--person', 'Ada Brook'] });
    bench.environment = before;
    expect(refused.json.error.code).toBe('passphrase-missing');
    expect(refused.stderr).toContain('FIELDSEAL_APPROVER_PASSPHRASE');
  });
});
