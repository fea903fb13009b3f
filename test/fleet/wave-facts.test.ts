/** What steering needs to find again in a store: since when a wave stands as it does, and what was known when it was resumed. */
import { expect, it } from 'vitest';
import type { FleetStore, UnitReport } from '../../src/fleet/index.ts';
import { onBoth } from './stores.ts';

const CLASS = `${'0'.repeat(31)}1`;
const DIGEST = 'a'.repeat(64);
const device = (nth: number) => nth.toString(16).padStart(32, '0');
const START = new Date('2031-05-01T06:00:00Z').getTime();

onBoth('a wave', (stores) => {
  async function made(clock: { now: number }): Promise<FleetStore> {
    const store = await stores.open(undefined, () => new Date(clock.now));
    await store.importUnits([1, 2, 3].map((nth) => ({ classId: CLASS, device: device(nth) })));
    await store.createBroadcast({
      classId: CLASS,
      release: { manifestDigest: DIGEST, sequence: 2n, version: '1.1.0' },
      plan: {},
      waves: [{ number: 1, name: 'pilot', reach: { kind: 'share', permille: 1000 } }],
      who: 'ada',
    });
    await store.placeUnits(1, () => 1);
    return store;
  }
  const change = (store: FleetStore, state: 'open' | 'soaking' | 'stopped', more = {}) =>
    store.broadcast(1).then((now) =>
      store.setWaveState({
        broadcast: 1,
        number: 1,
        expectedRevision: now!.revision,
        state,
        who: 'ada',
        ...more,
      }),
    );
  const run = async (store: FleetStore, state: 'running' | 'paused' | 'done') => {
    const { revision } = (await store.broadcast(1))!;
    await store.setBroadcastState({ id: 1, expectedRevision: revision, state, who: 'ada' });
  };

  it('says since when its state is what it is, and keeps what was known until that is told anew', async () => {
    const clock = { now: START };
    const store = await made(clock);
    expect((await store.waves(1))[0]).toMatchObject({ since: undefined, known: undefined });
    await run(store, 'running');
    await change(store, 'open');
    clock.now += 1000;
    await change(store, 'soaking');
    expect((await store.waves(1))[0]).toMatchObject({
      openedAt: new Date(START),
      since: new Date(START + 1000),
    });
    clock.now += 1000;
    await change(store, 'soaking', { known: { refused: 2 } });
    expect((await store.waves(1))[0]).toMatchObject({ since: new Date(START + 1000), known: { refused: 2 } });
    await change(store, 'stopped');
    expect((await store.waves(1))[0]).toMatchObject({ since: new Date(START + 2000), known: { refused: 2 } });
  });

  it('counts units as silent that never answered, and those that are on trial and fell silent there', async () => {
    const clock = { now: START };
    const store = await made(clock);
    await run(store, 'running');
    await change(store, 'open');
    const report = (nth: number, outcome: UnitReport['outcome']): UnitReport => ({
      classId: CLASS,
      device: device(nth),
      id: String(nth).repeat(64),
      at: new Date(START + 1000),
      age: 7,
      manifestDigest: DIGEST,
      outcome,
      raw: new Uint8Array([1]),
    });
    await store.takeReports([report(1, 'pending'), report(2, 'success')]);
    expect(await store.silent(1, 1, new Date(START + 500))).toBe(1);
    expect(await store.silent(1, 1, new Date(START + 2000))).toBe(2);
    expect(await store.silent(1, 1, new Date(START - 1))).toBe(0);
  });

  it('of a broadcast that is done may still stop it', async () => {
    const store = await made({ now: START });
    await run(store, 'running');
    await run(store, 'done');
    await run(store, 'paused');
    await run(store, 'running');
    expect((await store.broadcast(1))!.state).toBe('running');
  });
});
