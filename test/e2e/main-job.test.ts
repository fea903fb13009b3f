/** The main job as scripts do it: the commands of the README, word by word, through the built command. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage, lastBytes } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  bench.ok('class-key create dosing', WS);
  bench.ok('provision vent --serial 0001 --out vent-0001.unit', WS);
  bench.ok('provision dosing --serial 0001 --out dosing-0001.unit', WS);
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(20_000));
  writeFileSync(bench.path('WS', 'next.bin'), cortexImage(30_000, 0xa5));
});

describe('the asymmetric scheme', () => {
  it('seals, checks, installs, boots, keeps', () => {
    const sealed = bench.ok('seal app.bin --class vent --version 1.4.0 --out app.suit --json', WS).json;
    expect(sealed).toMatchObject({
      class: 'vent',
      version: '1.4.0',
      trial: true,
      image: { size_bytes: 20_000 },
    });
    const check = bench.ok('check app.suit --unit vent-0001.unit --json', WS).json;
    expect(check).toMatchObject({ verdict: 'accepted', refusal: null, scope: 'unit' });
    expect(check.steps.map((step: { step: string }) => step.step).slice(0, 9)).toEqual([
      'envelope',
      'signer',
      'authentication',
      'manifest',
      'freshness',
      'identity',
      'fit',
      'content',
      'image',
    ]);
    bench.ok('install app.suit --unit vent-0001.unit', WS);
    bench.ok('boot vent-0001.unit', WS);
    bench.ok('keep vent-0001.unit', WS);
    expect(bench.ok('check app.suit --unit vent-0001.unit --json', WS).json.facts.effect).toBe(
      'already there',
    );
  });

  it('refuses each forgery at its step, and nothing is programmed', () => {
    const genuine = readFileSync(bench.path('WS', 'app.suit'));
    const unit = readFileSync(bench.path('WS', 'vent-0001.unit'));
    const forge = (name: string, bytes: Buffer) => {
      writeFileSync(bench.path('WS', name), bytes);
      const installed = bench.run(`install ${name} --unit vent-0001.unit --json`, WS);
      expect(readFileSync(bench.path('WS', 'vent-0001.unit')).equals(unit)).toBe(true);
      return [installed.status, installed.json.refusal.step];
    };
    const flipped = (offset: number) => {
      const bytes = Buffer.from(genuine);
      bytes[offset]! ^= 1;
      return bytes;
    };
    expect(forge('cut.suit', genuine.subarray(0, genuine.length - 1))).toEqual([1, 'envelope']);
    expect(forge('longer.suit', Buffer.concat([genuine, Buffer.from([0])]))).toEqual([1, 'envelope']);
    expect(forge('empty.suit', Buffer.alloc(0))).toEqual([1, 'envelope']);
    const { seal, manifest } = lastBytes(genuine);
    expect(forge('signature.suit', flipped(seal))).toEqual([1, 'authentication']);
    expect(forge('manifest.suit', flipped(manifest))).toEqual([1, 'envelope']);
  });

  it('refuses an older release (RFC 9124 THREAT.IMG.EXPIRED)', () => {
    bench.ok('seal next.bin --class vent --version 1.5.0 --out next.suit', WS);
    for (const line of [
      'install next.suit --unit vent-0001.unit',
      'boot vent-0001.unit',
      'keep vent-0001.unit',
    ])
      bench.ok(line, WS);
    const stale = bench.ok('check app.suit --unit vent-0001.unit --json', { ...WS, status: 1 }).json;
    expect(stale.refusal).toMatchObject({ step: 'freshness' });
  });

  it('seals a detached image, and is incomplete without it', () => {
    writeFileSync(bench.path('WS', 'big.bin'), cortexImage(200_000, 0x11));
    bench.ok('seal big.bin --class vent --version 1.6.0 --detached --out big.suit', WS);
    expect(bench.ok('check big.suit --unit vent-0001.unit --json', { ...WS, status: 4 }).json.verdict).toBe(
      'incomplete',
    );
    bench.ok('check big.suit --unit vent-0001.unit --image big.bin', WS);
    bench.ok('check big.suit --unit vent-0001.unit --image app.bin', { ...WS, status: 1 });
    bench.ok('install big.suit --unit vent-0001.unit --image big.bin', WS);
    const started = bench.ok('boot vent-0001.unit --json', WS).json;
    expect(started.version).toBe('1.6.0');
  });

  it('is checked by a stranger who holds the signer key only', () => {
    const certificate = bench.path('WS', 'certificates', 'line-1.pem');
    const key = execFileSync('openssl', ['x509', '-in', certificate, '-noout', '-pubkey']);
    writeFileSync(bench.path('WS', 'signer-public.pem'), key);
    const verdict = bench.ok('check app.suit --key signer-public.pem --json', WS).json;
    expect(verdict).toMatchObject({ scope: 'authenticity', verdict: 'accepted' });
    const outcomes = Object.fromEntries(
      verdict.steps.map((step: { step: string; outcome: string }) => [step.step, step.outcome]),
    );
    expect(outcomes).toMatchObject({ freshness: 'not judged', identity: 'not judged', fit: 'not judged' });
  });

  it('has a chain that OpenSSL accepts', () => {
    const folder = bench.path('WS', 'certificates');
    const told = execFileSync('openssl', [
      'verify',
      '-x509_strict',
      '-CAfile',
      `${folder}/root.pem`,
      `${folder}/line-1.pem`,
    ]);
    expect(String(told)).toContain('OK');
  });
});

describe('the symmetric scheme', () => {
  it('seals under the class key, checks, installs, boots, keeps', () => {
    bench.ok('seal app.bin --class dosing --version 2.1.0 --out dose.suit', WS);
    expect(bench.ok('check dose.suit --unit dosing-0001.unit --json', WS).json.verdict).toBe('accepted');
    for (const line of [
      'install dose.suit --unit dosing-0001.unit',
      'boot dosing-0001.unit',
      'keep dosing-0001.unit',
    ])
      bench.ok(line, WS);
  });

  it('refuses firmware of the other class, and a MAC under another key', () => {
    const other = bench.ok('check app.suit --unit dosing-0001.unit --json', { ...WS, status: 1 }).json;
    expect(other.refusal.step).toMatch(/signer|authentication/);
    bench.ok('init OTHER --vendor-domain hollinridge.example');
    bench.ok('class add dosing --model DC-1 --scheme symmetric --workspace OTHER');
    bench.ok('class-key create dosing --workspace OTHER');
    bench.ok('seal WS/app.bin --class dosing --version 9.9.9 --out WS/guess.suit --workspace OTHER');
    bench.ok('check WS/guess.suit --unit WS/dosing-0001.unit', { status: 1 });
  });

  it('carries one MAC for each cohort key', () => {
    bench.ok('cohort-key create dosing north', WS);
    bench.ok('cohort-key create dosing south', WS);
    bench.ok('provision dosing --serial 0002 --cohort north --out dosing-0002.unit', WS);
    const sealed = bench.ok('seal app.bin --class dosing --version 2.2.0 --out cohorts.suit --json', WS).json;
    expect(sealed.mac_keys.map((key: { name: string }) => key.name)).toEqual([
      'dosing',
      'dosing.north',
      'dosing.south',
    ]);
    bench.ok('check cohorts.suit --unit dosing-0001.unit', WS);
    bench.ok('check cohorts.suit --unit dosing-0002.unit', WS);
  });
});

describe('provisioning', () => {
  it('leaves a first firmware on the unit', () => {
    bench.ok('provision vent --serial 0007 --first next.suit --out vent-0007.unit', WS);
    expect(bench.ok('boot vent-0007.unit --json', WS).json.version).toBe('1.5.0');
  });

  it('keeps books: issued = provisioned + scrapped + open', () => {
    writeFileSync(bench.path('WS', 'serials.txt'), '0100\n0101\n');
    bench.ok('batch issue vent --serials serials.txt --out job.json', WS);
    const batch = JSON.parse(readFileSync(bench.path('WS', 'job.json'), 'utf8')).batch;
    expect(bench.ok(`batch show ${batch} --json`, WS).json.batches[0].books).toEqual({
      issued: 2,
      provisioned: 0,
      scrapped: 0,
      open: 2,
    });
    bench.ok('batch run job.json --out result.json --units units-out', WS);
    const result = JSON.parse(readFileSync(bench.path('WS', 'result.json'), 'utf8'));
    result.units[1] = { serial: '0101', outcome: 'scrapped', reason: 'solder bridge' };
    writeFileSync(bench.path('WS', 'result.json'), JSON.stringify(result));
    bench.ok('batch accept result.json', WS);
    expect(bench.ok(`batch show ${batch} --json`, WS).json.batches[0].books).toEqual({
      issued: 2,
      provisioned: 1,
      scrapped: 1,
      open: 0,
    });
  });

  it('refuses a serial number that is provisioned already', () => {
    bench.ok('provision vent --serial 0001 --out again.unit', { ...WS, status: 2 });
  });

  it('writes a header for the bootloader', () => {
    bench.ok('header vent --out vent.h', WS);
    bench.ok('header dosing --out dosing.h', WS);
    const key = readFileSync(bench.path('WS', 'dosing.h'), 'utf8');
    expect(key).toContain('FIELDSEAL_MAC_KEY_0_SLOT');
    writeFileSync(
      bench.path('WS', 'two.c'),
      '#include "vent.h"\n#include "dosing.h"\nint main(void) { return 0; }\n',
    );
  });
});

describe('the ledger', () => {
  it('is intact after all this', () => {
    expect(bench.ok('ledger check --json', WS).json).toMatchObject({ intact: true, findings: [] });
  });
});
