import { readFileSync, writeFileSync } from 'node:fs';
import { gunzipSync, gzipSync } from 'node:zlib';
import { expect, it } from 'vitest';
import type { FleetStore, FleetUnit } from '../../src/fleet/index.ts';
import { aReport, CLASS, OFFERED } from './reports.ts';
import { onBoth } from './stores.ts';

const deviceAt = (n: number) => n.toString(16).padStart(32, '0');
const rows = (count: number) =>
  Array.from({ length: count }, (_, n) => ({ classId: CLASS, device: deviceAt(n), serial: `VC-${n}` }));
let backups = 0;

async function broadcastOf(store: FleetStore): Promise<number> {
  const { id, revision } = await store.createBroadcast({
    classId: CLASS,
    release: { manifestDigest: OFFERED, sequence: 7n, version: '1.5.0' },
    plan: { soak_hours: 24 },
    waves: [{ number: 1, name: 'all', reach: { kind: 'share', permille: 1000 } }],
    who: 'ada',
  });
  await store.placeUnits(id, () => 1);
  await store.setBroadcastState({ id, expectedRevision: revision, state: 'running', who: 'ada' });
  await store.setWaveState({
    broadcast: id,
    number: 1,
    expectedRevision: revision + 1,
    state: 'open',
    who: 'ada',
  });
  return id;
}

async function unitsOf(store: FleetStore): Promise<FleetUnit[]> {
  const units: FleetUnit[] = [];
  for await (const unit of store.exportUnits()) units.push(unit);
  return units;
}

onBoth('backups of a fleet store', (stores) => {
  const newPath = () => {
    backups += 1;
    return stores.path(`fleet-${backups}.backup`);
  };

  async function lived() {
    const store = await stores.open();
    await store.importUnits(rows(700));
    await store.takeReport(aReport({ device: deviceAt(1), version: '1.4.0', manifestDigest: undefined }));
    const id = await broadcastOf(store);
    for (let n = 2; n < 12; n++) await store.takeReport(aReport({ device: deviceAt(n), age: n }));
    await store.takeReport(
      aReport({ device: deviceAt(12), outcome: 'failed', refusal: { step: 'fit', code: 'image-too-large' } }),
    );
    await store.takeAttestation({
      classId: CLASS,
      device: deviceAt(2),
      id: '1e'.repeat(32),
      at: new Date(),
      verdict: 'genuine',
    });
    const lease = (await store.lease('steer', 'ada', 60))!;
    return { store, id, lease };
  }

  it('bring everything back into an empty store, with what ran paused', async () => {
    const { store, id } = await lived();
    const path = newPath();
    expect(await store.backup(path)).toMatchObject({ units: 700, reports: 12 });
    const other = await stores.open();
    expect(await other.restore(path)).toMatchObject({
      unitsAdded: 700,
      reportsAdded: 12,
      broadcastsPaused: [id],
    });
    expect(await unitsOf(other)).toEqual(await unitsOf(store));
    expect(await other.counts()).toEqual(await store.counts());
    expect(await other.waveCounts(id)).toEqual(await store.waveCounts(id));
    expect(await other.history(rows(3)[2]!)).toEqual(await store.history(rows(3)[2]!));
    expect(await other.waves(id)).toEqual(await store.waves(id));
    expect(await other.broadcast(id)).toMatchObject({
      state: 'paused',
      why: 'restored from a backup: it was running',
    });
  });

  it('never bring a number back', async () => {
    const { store, id, lease } = await lived();
    const path = newPath();
    await store.backup(path);
    // What comes after the backup is lost with the store; the numbers must not be given again.
    const later = [await store.note({ kind: 'test', who: 'ada', text: 'later' })];
    await store.setBroadcastState({ id, expectedRevision: 3, state: 'halted', who: 'ada' });
    const second = await broadcastOf(store);
    await store.release(lease);
    const lost = (await store.lease('steer', 'bela', 60))!;
    const other = await stores.open();
    await other.restore(path);
    expect((await other.broadcast(id))!.revision).toBeGreaterThan(3);
    const event = await other.note({ kind: 'test', who: 'ada', text: 'anew' });
    expect(event.seq).toBeGreaterThan(later[0]!.seq);
    await other.setBroadcastState({ id, expectedRevision: 4, state: 'halted', who: 'ada' });
    expect(await broadcastOf(other)).toBeGreaterThan(second);
    expect(await other.lease('steer', 'cleo', 60)).toMatchObject({ holder: 'cleo' });
    expect((await other.holderOf('steer'))!.token).toBeGreaterThan(lost.token);
    await expect(other.note({ kind: 'test', who: 'bela', text: 'stale' }, lost)).rejects.toMatchObject({
      code: 'fleet-lease-lost',
    });
  });

  it('count above what the ledger names', async () => {
    const { store } = await lived();
    const path = newPath();
    await store.backup(path);
    const other = await stores.open();
    await other.restore(path, { broadcast: 5000 });
    await other.setBroadcastState({ id: 1, expectedRevision: 4, state: 'halted', who: 'ada' });
    expect(await broadcastOf(other)).toBe(5001);
  });

  it('add to a store that lives, and set nothing back there', async () => {
    const { store, id } = await lived();
    const path = newPath();
    await store.backup(path);
    await store.takeReport(aReport({ device: deviceAt(3), age: 100, outcome: 'success', version: '1.6.0' }));
    await store.setBroadcastState({ id, expectedRevision: 3, state: 'paused', why: 'to look', who: 'ada' });
    const before = [await unitsOf(store), await store.counts(), await store.broadcast(id)];
    const [last] = await store.events({ newestFirst: true, limit: 1 });
    expect(await store.restore(path)).toMatchObject({ unitsAdded: 0, reportsAdded: 0, broadcastsPaused: [] });
    expect([await unitsOf(store), await store.counts(), await store.broadcast(id)]).toEqual(before);
    const [next] = await store.events({ newestFirst: true, limit: 1 });
    expect(next!.seq).toBe(last!.seq + 1);
  });

  it('done again after they were cut short end the same', async () => {
    const { store } = await lived();
    const path = newPath();
    await store.backup(path);
    const other = await stores.open();
    await other.importUnits(rows(5));
    await other.restore(path);
    const once = [await unitsOf(other), await other.counts()];
    await other.restore(path);
    expect([await unitsOf(other), await other.counts()]).toEqual(once);
  });

  it('of another store are refused where they contradict this one', async () => {
    const [{ store }, other] = [await lived(), await lived()];
    const path = newPath();
    await store.backup(path);
    await expect(other.store.restore(path)).rejects.toMatchObject({ code: 'fleet-backup-foreign' });
  });

  it('that are not whole change nothing', async () => {
    const { store } = await lived();
    const path = newPath();
    await store.backup(path);
    await expect(store.backup(path)).rejects.toMatchObject({ code: 'output-exists' });
    const whole = readFileSync(path);
    const text = gunzipSync(whole).toString();
    const broken = [
      whole.subarray(0, whole.length / 2),
      gzipSync(text.replace('"VC-5"', '"VC-6"')),
      gzipSync(text.slice(0, text.lastIndexOf('["end"'))),
      gzipSync(`${text}["unit",{}]\n`),
      gzipSync(text.slice(0, -1)),
      Buffer.from('no backup'),
      gzipSync('["head",{"format":"other/1"}]\n["end",{}]\n'),
    ];
    const other = await stores.open();
    for (const bytes of broken) {
      const wrong = newPath();
      writeFileSync(wrong, bytes);
      await expect(other.restore(wrong)).rejects.toMatchObject({ code: 'fleet-backup-damaged' });
    }
    expect((await other.counts()).units).toBe(0);
  });
});
