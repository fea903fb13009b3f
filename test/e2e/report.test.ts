/** What units send back, from the unit's flash to the appraisal, through the built command. */
import { copyFileSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const NONCE = '8f1c0b6ae24d97531e60a4c2b8d7f913';

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1', WS);
  bench.ok('class-key create dosing', WS);
  for (const name of ['vent', 'dosing']) {
    bench.ok(`provision ${name} --serial 0001 --out ${name}-0001.unit`, WS);
    bench.ok(`provision ${name} --serial 0002 --out ${name}-0002.unit`, WS);
  }
  writeFileSync(bench.path('WS', 'app.bin'), cortexImage(20_000));
  writeFileSync(bench.path('WS', 'next.bin'), cortexImage(30_000, 0xa5));
  bench.ok('seal app.bin --class vent --version 1.4.0 --out app.suit', WS);
  bench.ok('seal next.bin --class vent --version 1.5.0 --out next.suit', WS);
  bench.ok('seal app.bin --class dosing --version 1.4.0 --out dose.suit', WS);
});

const appraise = (file: string, more = '', status = 0) =>
  bench.ok(`report appraise ${file} ${more} --json`, { ...WS, status }).json;
const claim = (appraisal: { claims: { claim: string; result: string }[] }, name: string) =>
  appraisal.claims.find((each) => each.claim === name)?.result;

describe('the life of an update, as its reports tell it', () => {
  it('[RPT] 4.2: installed is pending, started is pending, only kept is a success', () => {
    const installed = bench.ok('install app.suit --unit vent-0001.unit --report i.report --json', WS).json;
    expect(installed.report).toMatchObject({
      container: 'COSE_Sign1',
      result: 'pending',
      reason: 'invoke-pending',
    });
    bench.ok('boot vent-0001.unit --report b.report', WS);
    bench.ok('keep vent-0001.unit --report k.report', WS);
    for (const [file, result] of [
      ['i.report', 'pending'],
      ['b.report', 'pending'],
      ['k.report', 'success'],
    ] as const) {
      const told = appraise(file, '--envelope app.suit');
      expect(told).toMatchObject({
        verdict: 'genuine',
        refusal: null,
        sender: { class: 'vent', serial: '0001', proved_by: 'unit key' },
        release: { version: '1.4.0', sequence_number: '1' },
        report: { result },
      });
      expect(claim(told, 'image')).toBe('holds');
      expect(told.report.reference.uri).toBe(told.release.reference_uri);
    }
    expect(appraise('b.report', '', 1).refusal.code).toBe('stale');
  });

  it('[RPT] 4: a challenge is answered, and another challenge is not', () => {
    bench.ok(`report make vent-0001.unit --out n.report --nonce ${NONCE} --capabilities`, WS);
    const told = appraise('n.report', `--nonce ${NONCE}`);
    expect(told).toMatchObject({ verdict: 'genuine', report: { result: 'success', nonce: NONCE } });
    expect(told.report.capabilities.components).toEqual([{ identifier: ['6d61696e'], prefix: false }]);
    expect(appraise('n.report', `--nonce ${'00'.repeat(16)}`, 1).refusal.code).toBe('nonce-wrong');
    expect(appraise('k.report', `--nonce ${NONCE}`, 1).refusal.code).toBe('nonce-missing');
  });

  it('RFC 9124 4.3.16: a changed report is refused, at every byte of its payload and signature', () => {
    const genuine = readFileSync(bench.path('WS', 'k.report'));
    for (const offset of [genuine.length - 1, genuine.length - 70, genuine.length - 120]) {
      const bytes = Buffer.from(genuine);
      bytes[offset]! ^= 1;
      writeFileSync(bench.path('WS', 'changed.report'), bytes);
      expect(appraise('changed.report', '', 1).refusal.code).toBe('signature-wrong');
    }
  });

  it('an install that is refused is told with its reason, its place and the value of the unit', () => {
    bench.ok('install dose.suit --unit vent-0001.unit --report other.report --json', { ...WS, status: 1 });
    const other = appraise('other.report', '', 1);
    expect(other).toMatchObject({
      refusal: { code: 'manifest-of-another-class' },
      report: { result: 'failed', reason: 'cose-unsupported', refusal: { step: 'authentication' } },
    });
    bench.ok('seal next.bin --class vent --version 1.6.0 --out single.suit --serial 0002', WS);
    bench.ok('install single.suit --unit vent-0001.unit --report single.report', { ...WS, status: 1 });
    const single = appraise('single.report', '--envelope single.suit');
    expect(single.report).toMatchObject({
      result: 'failed',
      reason: 'condition-failed',
      refusal: { code: 'device-wrong' },
      record: { section_name: 'shared', component: 0, properties: { device_identifier: expect.any(String) } },
    });
    expect(single.claims.find((each: { claim: string }) => each.claim === 'record')).toMatchObject({
      result: 'holds',
      detail: expect.stringContaining('condition-device-identifier'),
    });
  });

  it('a payload that nobody here sealed: the report is authentic and its manifest unknown', () => {
    copyFileSync(bench.path('WS', 'next.suit'), bench.path('next.suit'));
    bench.ok('init OTHER --vendor-domain hollinridge.example');
    const there = { cwd: 'OTHER' };
    bench.ok('class add vent --model VC-2 --scheme asymmetric', there);
    bench.ok('root create', there);
    bench.ok('signer create line-1', there);
    bench.ok('seal ../WS/next.bin --class vent --version 9.9.9 --out foreign.suit', there);
    bench.ok('install ../OTHER/foreign.suit --unit vent-0001.unit --report foreign.report', {
      ...WS,
      status: 1,
    });
    const told = appraise('foreign.report', '', 1);
    expect(told.refusal.code).toBe('manifest-unknown');
    expect(claim(told, 'authenticity')).toBe('holds');
    expect(told.report).toMatchObject({ reason: 'unauthorised', refusal: { code: 'signer-not-anchored' } });
    expect(told.report.reference.uri).toBe('');
    const elsewhere = bench.ok('report appraise ../WS/k.report --json', { ...there, status: 1 }).json;
    expect(elsewhere.refusal.code).toBe('unit-unknown');
  });

  it('an image that is not kept falls back: the start tells it, and so does the unit when asked', () => {
    bench.ok('install next.suit --unit vent-0002.unit', WS);
    bench.ok('boot vent-0002.unit', WS);
    bench.ok('keep vent-0002.unit', WS);
    const digest = bench.ok('seal app.bin --class vent --version 1.7.0 --out worse.suit --json', WS).json
      .manifest_digest;
    bench.ok('install worse.suit --unit vent-0002.unit', WS);
    bench.ok('boot vent-0002.unit', WS);
    bench.ok('boot vent-0002.unit --report fell.report', WS);
    const fell = appraise('fell.report');
    expect(fell).toMatchObject({
      release: { version: '1.7.0' },
      report: {
        result: 'failed',
        refusal: { code: 'trial-ran-out' },
        reference: { manifest_digest: digest },
      },
    });
    expect(fell.report.measured).toHaveLength(1);
    bench.ok(`report make vent-0002.unit --out asked.report --manifest ${digest}`, WS);
    expect(appraise('asked.report').report.refusal.code).toBe('trial-ran-out');
    bench.ok('report make vent-0002.unit --out now.report', WS);
    expect(appraise('now.report')).toMatchObject({
      release: { version: '1.5.0' },
      report: { result: 'success' },
    });
    bench.ok(`report make vent-0002.unit --out x.report --manifest ${'ab'.repeat(32)}`, { ...WS, status: 1 });
  });

  it('an image changed in the flash is told with its digest', () => {
    const shown = bench.ok('unit show vent-0002.unit --json', WS).json;
    const slot = shown.slots.find((each: { state: string }) => each.state === 'kept');
    const region = shown.regions.find((each: { name: string }) => each.name === `slot ${slot.name}`);
    const path = bench.path('WS', 'vent-0002.unit');
    const bytes = readFileSync(path);
    bytes[region.offset + 5000]! ^= 1;
    writeFileSync(path, bytes);
    bench.ok('report make vent-0002.unit --out tampered.report', WS);
    expect(appraise('tampered.report', '', 1).refusal.code).toBe('image-differs');
    bench.ok('boot vent-0002.unit --report broken.report', { ...WS, status: 1 });
    const told = appraise('broken.report', '--envelope next.suit');
    expect(told.report).toMatchObject({
      reason: 'condition-failed',
      refusal: { code: 'stored-image-wrong' },
      record: { section_name: 'validate', properties: { image_digest: expect.any(String) } },
    });
  });

  it('a unit without firmware reports that nothing may start', () => {
    bench.ok('report make dosing-0002.unit --out empty.report', WS);
    const told = appraise('empty.report');
    expect(told.report).toMatchObject({ result: 'failed', refusal: { code: 'nothing-to-start' } });
    expect(claim(told, 'manifest')).toBe('not judged');
  });
});

describe('the symmetric scheme', () => {
  it('[RPT] 8: COSE_Mac0 under a key made from the class key, and what it is worth is said', () => {
    for (const line of [
      'install dose.suit --unit dosing-0001.unit',
      'boot dosing-0001.unit',
      'keep dosing-0001.unit',
    ])
      bench.ok(line, WS);
    const made = bench.ok('report make dosing-0001.unit --out mac.report --mac --json', WS).json;
    expect(made).toMatchObject({ container: 'COSE_Mac0', algorithm: 'HMAC 256/256', result: 'success' });
    expect(appraise('mac.report')).toMatchObject({ verdict: 'genuine', sender: { proved_by: 'class key' } });
    const bytes = readFileSync(bench.path('WS', 'mac.report'));
    bytes[bytes.length - 1]! ^= 1;
    writeFileSync(bench.path('WS', 'forged.report'), bytes);
    expect(appraise('forged.report', '', 1).refusal.code).toBe('mac-wrong');
    bench.ok('report make dosing-0001.unit --out signed.report', WS);
    expect(appraise('signed.report').sender.proved_by).toBe('unit key');
  });
});

describe('use', () => {
  it('an output that is there is left alone, before anything is installed', () => {
    const before = readFileSync(bench.path('WS', 'vent-0001.unit'));
    bench.ok('install next.suit --unit vent-0001.unit --report app.bin', { ...WS, status: 2 });
    expect(readFileSync(bench.path('WS', 'vent-0001.unit')).equals(before)).toBe(true);
    bench.ok('report make vent-0001.unit --out app.bin', { ...WS, status: 2 });
  });

  it('what is no report is refused by name', () => {
    expect(appraise('app.suit', '', 1).refusal.code).toBe('container-malformed');
    bench.ok('report appraise missing.report', { ...WS, status: 2 });
    bench.ok('report make vent-0001.unit --out y.report --nonce 00', { ...WS, status: 2 });
    rmSync(bench.path('WS', 'app.bin'));
  });
});
