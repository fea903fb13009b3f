import { expect, it } from 'vitest';
import type { FleetStore } from '../../src/fleet/index.ts';
import { aReport, CLASS, OFFERED, OTHER } from './reports.ts';
import { onBoth } from './stores.ts';

const WHO = 'ada';
const deviceAt = (n: number) => n.toString(16).padStart(32, '0');
const rows = (count: number) =>
  Array.from({ length: count }, (_, n) => ({ classId: CLASS, device: deviceAt(n), sequence: 6n }));
const made = (manifestDigest = OFFERED) => ({
  classId: CLASS,
  release: { manifestDigest, sequence: 7n, version: '1.5.0' },
  plan: { soak_hours: 24 },
  waves: [
    { number: 1, name: 'pilot', reach: { kind: 'units', devices: [deviceAt(0), deviceAt(1)] } as const },
    { number: 2, name: 'rest', reach: { kind: 'share', permille: 1000 } as const },
  ],
  who: WHO,
});
const pilotFirst = (device: string) => (device <= deviceAt(1) ? 1 : 2);

async function begun(store: FleetStore, count = 10) {
  await store.importUnits(rows(count));
  const { id, revision } = await store.createBroadcast(made());
  await store.placeUnits(id, pilotFirst);
  await store.setBroadcastState({ id, expectedRevision: revision, state: 'running', who: WHO });
  await store.setWaveState({
    broadcast: id,
    number: 1,
    expectedRevision: revision + 1,
    state: 'open',
    who: WHO,
  });
  return id;
}

onBoth('broadcasts in a fleet store', (stores) => {
  it('reach the units of a wave when it is opened, and no others', async () => {
    const store = await stores.open();
    const id = await begun(store);
    const [pilot, rest] = await store.waveCounts(id);
    expect(pilot).toMatchObject({ number: 1, units: 2, byState: { reached: 2, waiting: 0 } });
    expect(rest).toMatchObject({ number: 2, units: 8, byState: { reached: 0, waiting: 8 } });
    expect((await store.counts()).byState).toMatchObject({ reached: 2, waiting: 8, unheard: 0 });
    expect((await store.search({ state: 'reached' })).items.map(({ device }) => device)).toEqual(
      [0, 1].map(deviceAt),
    );
    expect(await store.unit(rows(1)[0]!)).toMatchObject({
      state: 'reached',
      wave: { broadcast: id, number: 1 },
    });
    expect(await store.broadcast(id)).toMatchObject({
      state: 'running',
      revision: 3,
      plan: { soak_hours: 24 },
    });
    expect((await store.waves(id)).map(({ state, name }) => [name, state])).toEqual([
      ['pilot', 'open'],
      ['rest', 'planned'],
    ]);
  });

  it('count units that run the release already as kept, and place each once', async () => {
    const store = await stores.open();
    await store.importUnits([{ ...rows(1)[0]!, sequence: 7n }, ...rows(4).slice(1)]);
    const { id } = await store.createBroadcast(made());
    expect(await store.placeUnits(id, pilotFirst)).toBe(4);
    expect(await store.placeUnits(id, pilotFirst)).toBe(0);
    await store.importUnits(rows(6));
    expect(await store.placeUnits(id, (device) => (device === deviceAt(4) ? 2 : undefined))).toBe(1);
    expect((await store.waveCounts(id)).map(({ units, byState }) => [units, byState.kept])).toEqual([
      [2, 0],
      [3, 0],
    ]);
  });

  it('are changed only by who knows them as they are', async () => {
    const store = await stores.open();
    const { id, revision } = await store.createBroadcast(made());
    const change = { id, expectedRevision: revision, state: 'running', who: WHO } as const;
    const both = await Promise.allSettled([store.setBroadcastState(change), store.setBroadcastState(change)]);
    expect(both.filter(({ status }) => status === 'fulfilled')).toHaveLength(1);
    await expect(store.setBroadcastState(change)).rejects.toMatchObject({ code: 'fleet-revision-passed' });
    await expect(store.setBroadcastState({ ...change, id: 99 })).rejects.toMatchObject({
      code: 'fleet-broadcast-not-there',
    });
  });

  it('never run again once halted, and open no wave while they do not run', async () => {
    const store = await stores.open();
    const id = await begun(store);
    const why = '3 of 40 units refused; 2 are allowed';
    await store.setBroadcastState({ id, expectedRevision: 3, state: 'paused', why, who: 'rule' });
    await expect(
      store.setWaveState({ broadcast: id, number: 2, expectedRevision: 4, state: 'open', who: WHO }),
    ).rejects.toMatchObject({ code: 'fleet-change-not-allowed' });
    expect((await store.broadcast(id))?.revision).toBe(4);
    await store.setBroadcastState({ id, expectedRevision: 4, state: 'halted', who: WHO });
    await expect(
      store.setBroadcastState({ id, expectedRevision: 5, state: 'running', who: WHO }),
    ).rejects.toMatchObject({ code: 'fleet-change-not-allowed' });
    const told = (await store.events({ broadcast: id })).map(({ kind, who, text }) => [kind, who, text]);
    expect(told).toContainEqual(['broadcast-paused', 'rule', `paused: ${why}`]);
    expect((await store.events({ broadcast: id, newestFirst: true, limit: 1 }))[0]?.kind).toBe(
      'broadcast-halted',
    );
  });

  it('are one at a time for a class, also where two are begun at once', async () => {
    const place = stores.place();
    const [one, two] = [await stores.open(place), await stores.open(place)];
    const both = await Promise.allSettled([one.createBroadcast(made()), two.createBroadcast(made())]);
    expect(both.filter(({ status }) => status === 'fulfilled')).toHaveLength(1);
    expect(await one.broadcasts({ classId: CLASS })).toHaveLength(1);
    await expect(one.createBroadcast(made(OTHER))).rejects.toMatchObject({
      code: 'fleet-broadcast-under-way',
    });
  });

  it('remember how units stood that a later broadcast took over', async () => {
    const store = await stores.open();
    const first = await begun(store);
    await store.takeReport(aReport({ device: deviceAt(0) }));
    await store.setBroadcastState({ id: first, expectedRevision: 3, state: 'done', who: WHO });
    const before = await store.waveCounts(first);
    const { id } = await store.createBroadcast(made(OTHER));
    expect(await store.placeUnits(id, pilotFirst)).toBe(10);
    expect(await store.waveCounts(first)).toEqual(before);
    expect((await store.waveCounts(id)).map(({ byState }) => byState.waiting)).toEqual([2, 8]);
    expect((await store.broadcasts({ state: 'done' })).map((each) => each.id)).toEqual([first]);
  });

  it('call silent who did not come to an end and was not heard since, and only once the wave was open that long', async () => {
    let now = new Date('2026-01-31T09:00:00Z');
    const store = await stores.open(undefined, () => now);
    const id = await begun(store);
    const later = (minutes: number) => new Date(now.getTime() + minutes * 60_000);
    expect(await store.silent(id, 1, later(-1))).toBe(0);
    expect(await store.silent(id, 1, later(10))).toBe(2);
    expect(await store.silent(id, 2, later(10))).toBe(0);
    await store.takeReport(aReport({ device: deviceAt(0), at: later(5), outcome: 'unfinished' }));
    expect(await store.silent(id, 1, later(4))).toBe(1);
    await store.takeReport(aReport({ device: deviceAt(1), at: later(1), outcome: 'pending' }));
    expect(await store.silent(id, 1, later(4))).toBe(1);
    await store.takeReport(aReport({ device: deviceAt(1), at: later(5), age: 2 }));
    expect(await store.silent(id, 1, later(4))).toBe(0);
    expect(await store.silent(id, 1, later(6))).toBe(1);
    now = later(10);
    expect((await store.search({ state: 'reached', silentSince: now })).items).toHaveLength(1);
  });
});
