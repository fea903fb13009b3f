/** A unit that runs Linux: its slots and state on partitions, the machine restarted by its own means. */
import type { ChildProcess } from 'node:child_process';
import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';
import { documentOf, started } from './served.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const PLACES = ['slot A', 'slot B', 'state'] as const;
let served: ChildProcess;
let depot: string;

beforeAll(async () => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1 --class vent', WS);
  bench.ok('signer create ann-1 --purpose announcement --class vent', WS);
  bench.ok('provision vent --serial 0001 --out vent.unit', WS);
  for (const [version, fill] of [
    ['1.4.0', 1],
    ['1.5.0', 2],
  ] as const) {
    writeFileSync(bench.path('WS', 'app.bin'), cortexImage(60_000, fill));
    bench.ok(`seal app.bin --class vent --version ${version} --out ${version}.suit`, WS);
  }
  for (const name of PLACES) writeFileSync(bench.path('WS', `${name}.part`), Buffer.alloc(300 << 10, 0xee));
  bench.ok('announce vent --depot depot', WS);
  served = started(bench, 'depot serve depot --json');
  depot = (await documentOf<{ origin: string }>(served)).origin;
});
afterAll(() => {
  served.kill('SIGTERM');
});

const place = (...areas: string[]) =>
  bench.run('unit place vent.unit --json', { ...WS, more: areas.flatMap((area) => ['--area', area]) });
const agent = (...more: string[]) =>
  bench
    .ok(`agent vent.unit --depot ${depot} --health true --once --json`, { ...WS, more })
    .json.events.map(({ event }: { event: string }) => event);

describe('a unit on partitions', () => {
  it('wrong areas are refused with their names, before anything moves', () => {
    for (const area of ['slot C=x.part', 'slot A', 'slot A=', 'state=vent.unit'])
      expect(place(area).status, area).toBe(2);
    expect(place('slot A=slot A.part', 'slot B=slot A.part').status).toBe(2);
    expect(place('slot A=nowhere.part').status).toBe(3);
    expect(existsSync(bench.path('WS', 'vent.unit.areas'))).toBe(false);
  });

  it('installs to them, starts from them after the machine restarted, keeps', () => {
    expect(place(...PLACES.map((name) => `${name}=${name}.part`)).status).toBe(0);
    bench.ok('announce vent 1.4.0.suit --depot depot', WS);
    const restart = ['--restart', 'touch restarted'];
    expect(agent(...restart)).toEqual(['not-started', 'heard', 'fetched', 'installed', 'restarting']);
    expect(existsSync(bench.path('WS', 'restarted'))).toBe(true);
    expect(agent(...restart)).toEqual(['started', 'kept']);
    expect(readFileSync(bench.path('WS', 'slot A.part')).subarray(0, 60_000)).toEqual(cortexImage(60_000, 1));
    expect(bench.ok('unit show vent.unit --json', WS).json.slots[0]).toMatchObject({ state: 'kept' });
  });

  it('a restart that fails is told, and what was installed starts with the next run', () => {
    bench.ok('announce vent 1.5.0.suit --depot depot', WS);
    const failed = bench.run(`agent vent.unit --depot ${depot} --health true --once`, {
      ...WS,
      more: ['--restart', 'exit 7'],
    });
    expect(failed.status).toBe(3);
    expect(failed.stderr).toContain('7');
    expect(agent()).toEqual(['started', 'kept']);
  });

  it('a byte changed on a partition is noticed at the start: the other image runs', () => {
    const path = bench.path('WS', 'slot B.part');
    const changed = readFileSync(path);
    changed[30_000]! ^= 1;
    writeFileSync(path, changed);
    const booted = bench.ok('boot vent.unit --json', WS).json;
    expect(booted).toMatchObject({ slot: 'A', version: '1.4.0', passed_over: [{ slot: 'B' }] });
  });

  it('without the list of its areas it starts nothing', () => {
    const list = bench.path('WS', 'vent.unit.areas');
    renameSync(list, `${list}.away`);
    const { json } = bench.ok('boot vent.unit --json', { ...WS, status: 1 });
    expect(json).toMatchObject({ verdict: 'refused', slot: null });
    renameSync(`${list}.away`, list);
  });
});
