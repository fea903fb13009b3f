/** Two commands at one unit: one writes at a time. */
import { once } from 'node:events';
import { writeFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { openUnitStore } from '../../src/workspace/index.ts';
import { Bench, cortexImage } from './command.ts';
import { documentOf, started } from './served.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const UNIT = bench.path('WS', 'vent.unit');

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1 --class vent', WS);
  bench.ok('signer create ann-1 --purpose announcement --class vent', WS);
  bench.ok('provision vent --serial 0001 --out vent.unit', WS);
  for (const version of ['1.4.0', '1.5.0']) {
    writeFileSync(bench.path('WS', 'app.bin'), cortexImage(60_000, Number(version[2])));
    bench.ok(`seal app.bin --class vent --version ${version} --out ${version}.suit`, WS);
  }
});

describe('a unit file in use', () => {
  it('who would write is told by whom, with status 3, and nothing changes; who reads is answered', async () => {
    const store = await openUnitStore(UNIT);
    try {
      const refused = bench.run('install 1.4.0.suit --unit vent.unit', WS);
      expect([refused.status, refused.stderr]).toEqual([
        3,
        expect.stringContaining(`process ${process.pid}`),
      ]);
      expect(bench.run('boot vent.unit', WS).status).toBe(3);
      bench.ok('unit show vent.unit', WS);
      bench.ok('check 1.4.0.suit --unit vent.unit', WS);
    } finally {
      store.close();
    }
    expect(bench.ok('unit show vent.unit --json', WS).json.slots[0].state).toBe('empty');
  });

  it('two that install at once: one after the other, and the unit starts what it was given', async () => {
    const both = ['1.4.0', '1.4.0'].map((version) =>
      started(bench, `install ${version}.suit --unit vent.unit`),
    );
    await Promise.all(both.map((child) => once(child, 'exit')));
    expect(both.map(({ exitCode }) => exitCode)).toEqual([0, 0]);
    bench.ok('boot vent.unit', WS);
    bench.ok('keep vent.unit', WS);
  });

  it('an agent waits until a command has ended, and goes on', async () => {
    bench.ok('announce vent 1.5.0.suit --depot depot', WS);
    const server = started(bench, 'depot serve depot --json');
    try {
      const { origin } = await documentOf<{ origin: string }>(server);
      const store = await openUnitStore(UNIT);
      const agent = started(bench, `agent vent.unit --depot ${origin} --health true --once`);
      const ended = once(agent, 'exit');
      await once(agent, 'spawn');
      setTimeout(() => store.close(), 2000);
      expect((await ended)[0]).toBe(0);
      expect(bench.ok('unit show vent.unit --json', WS).json.slots[1].state).toBe('kept');
    } finally {
      server.kill('SIGTERM');
    }
  });
});
