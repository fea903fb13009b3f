/** Old reports taken out: what is said of units does not change, neither then nor in later broadcasts, nor by a replay of what went. */
import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { FleetStore, UnitReport } from '../../src/fleet/index.ts';
import { anyReports, aReport, CLASS, DEVICE, OFFERED, OTHER, offered } from './reports.ts';
import { onBoth } from './stores.ts';

const UNIT = { classId: CLASS, device: DEVICE };
const LATER = new Date(8e12);
const THIRD = 'ee'.repeat(32);
let devices = 0;

async function ended(store: FleetStore, id: number): Promise<void> {
  const { revision: expectedRevision } = (await store.broadcast(id))!;
  await store.setBroadcastState({ id, expectedRevision, state: 'halted', who: 'test' });
}

const kept = async (store: FleetStore, unit = UNIT) =>
  (await store.history(unit)).items.flatMap((entry) => (entry.kind === 'report' ? [entry.id] : [])).sort();

onBoth('thinning reports', (stores) => {
  it('keeps of each unit the newest about each release, and the newest of success', async () => {
    const store = await stores.open();
    await store.importUnits([UNIT]);
    const made = (given: Partial<UnitReport>) => aReport({ at: new Date(1000), ...given });
    const [older, success, failed, other, silent] = [
      made({ age: 1, manifestDigest: OFFERED, outcome: 'pending' }),
      made({ age: 2, manifestDigest: OFFERED, outcome: 'success' }),
      made({ age: 3, manifestDigest: OFFERED, outcome: 'failed' }),
      made({ age: undefined, manifestDigest: OTHER, outcome: 'failed' }),
      made({ age: 0, manifestDigest: undefined, outcome: 'failed' }),
    ];
    await store.takeReports([failed, silent, older, other, success]);
    expect(await store.thinReports(LATER, false)).toEqual({ spare: 1, kept: 4 });
    expect(await kept(store)).toHaveLength(5);
    expect(await store.thinReports(new Date(1000), true)).toEqual({ spare: 0, kept: 5 });
    expect(await store.thinReports(new Date(1001), true)).toEqual({ spare: 1, kept: 4 });
    expect(await kept(store)).toEqual([success, failed, other, silent].map(({ id }) => id).sort());
    expect(await store.thinReports(LATER, true)).toEqual({ spare: 0, kept: 4 });
    // A store that is made anew of its backup knows units by their reports alone.
    await store.backup(stores.path('thinned.backup'));
    const anew = await stores.open();
    await anew.restore(stores.path('thinned.backup'));
    expect(await anew.unit(UNIT)).toEqual(await store.unit(UNIT));
  });

  it('keeps all about a release that is being broadcast, until that is over', async () => {
    const store = await stores.open();
    await store.importUnits([UNIT]);
    const id = await offered(store, OFFERED);
    await store.takeReports([1, 2, 3].map((age) => aReport({ age, outcome: 'pending' })));
    expect(await store.thinReports(LATER, true)).toEqual({ spare: 0, kept: 3 });
    await ended(store, id);
    expect(await store.thinReports(LATER, true)).toEqual({ spare: 2, kept: 1 });
  });

  it('changes nothing that is said of a unit, now, in any later broadcast, or by a replay of what went', async () => {
    const store = await stores.open();
    await fc.assert(
      fc.asyncProperty(anyReports, fc.integer({ min: 1, max: 1e12 }), async (reports, before) => {
        devices += 2;
        const [unit, model] = [devices, devices + 1].map((n) => ({
          classId: CLASS,
          device: n.toString(16).padStart(32, '0'),
        })) as [typeof UNIT, typeof UNIT];
        const of = ({ device }: typeof UNIT) =>
          reports.map((report) => ({ ...report, device, id: `${report.id.slice(0, 32)}${device}` }));
        const alike = async () => {
          const [found, expected] = [await store.unit(unit), await store.unit(model)];
          expect({ ...found, device: model.device }).toEqual(expected);
        };
        await store.importUnits([unit, model]);
        await store.takeReports(of(unit));
        await store.thinReports(new Date(before), true);
        const left = await kept(store, unit);
        await store.takeReports(of(model));
        await alike();
        for (const digest of [OFFERED, OTHER, THIRD]) {
          const id = await offered(store, digest);
          await store.placeUnits(id, () => 1);
          await alike();
          await ended(store, id);
        }
        const again = await store.takeReports(of(unit));
        expect(again.filter((taken) => taken === 'known')).toHaveLength(left.length);
        await alike();
      }),
      { numRuns: 15, endOnFailure: true },
    );
  });
});
