import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { FleetStore, FleetUnit, UnitReport } from '../../src/fleet/index.ts';
import { orderOf } from '../../src/fleet/store/standing.ts';
import { anyReports, aReport, CLASS, offered } from './reports.ts';
import { onBoth } from './stores.ts';

const RUNS = { numRuns: 25, endOnFailure: true };
let devices = 0;

function newDevice(): string {
  devices += 1;
  return devices.toString(16).padStart(32, '0');
}

/** The same reports as another unit would have sent them. */
function from(device: string, reports: readonly UnitReport[]): UnitReport[] {
  return reports.map((report) => ({ ...report, device, id: `${report.id.slice(0, 32)}${device}` }));
}

const inOrder = (reports: readonly UnitReport[]) =>
  reports.toSorted((a, b) => (orderOf(a) < orderOf(b) ? -1 : 1));

/** Reports of which a unit sends some, some twice, in any order. */
const delivery = anyReports.chain((reports) =>
  fc.tuple(fc.constant(reports), fc.shuffledSubarray([...reports, ...reports], { minLength: 1 })),
);

onBoth('taking reports', (stores) => {
  it('ends the same in any order, with any loss and any repetition; and every report is in the books once', async () => {
    const store = await stores.open();
    const broadcast = await offered(store);
    await fc.assert(
      fc.asyncProperty(delivery, fc.boolean(), async ([, delivered], placedFirst) => {
        const [unit, model] = [newDevice(), newDevice()];
        const rows = [unit, model].map((device) => ({ classId: CLASS, device }));
        await store.importUnits(rows);
        const place = () => store.placeUnits(broadcast, () => 1);
        const once = [...new Map(delivered.map((report) => [report.id, report])).values()];
        await place();
        for (const report of from(unit, delivered)) await store.takeReport(report);
        for (const report of from(model, inOrder(once))) await store.takeReport(report);
        if (!placedFirst) await place();
        const [found, expected] = await Promise.all(rows.map((row) => store.unit(row)));
        expect({ ...found, device: model }).toEqual(expected);
        const { items } = await store.history(rows[0]!);
        const kept = items.flatMap((entry) => (entry.kind === 'report' ? entry.id : []));
        expect(kept.sort()).toEqual(
          from(unit, once)
            .map(({ id }) => id)
            .sort(),
        );
      }),
      RUNS,
    );
    await requireBooksBalance(store);
  });

  it('makes no difference before or after a unit is placed in the broadcast', async () => {
    const store = await stores.open();
    const broadcast = await offered(store);
    await fc.assert(
      fc.asyncProperty(anyReports, fc.nat(8), async (reports, cut) => {
        const [before, after] = [newDevice(), newDevice()];
        await store.importUnits([{ classId: CLASS, device: before }]);
        await store.placeUnits(broadcast, () => 1);
        await store.takeReports(from(before, reports));
        await store.importUnits([{ classId: CLASS, device: after }]);
        await store.takeReports(from(after, reports.slice(0, cut)));
        await store.placeUnits(broadcast, () => 1);
        await store.takeReports(from(after, reports.slice(cut)));
        const first = await store.unit({ classId: CLASS, device: before });
        expect({ ...first, device: after }).toEqual(await store.unit({ classId: CLASS, device: after }));
      }),
      RUNS,
    );
    await requireBooksBalance(store);
  });

  it('tells known and strange reports apart, and counts neither', async () => {
    const store = await stores.open();
    const report = aReport();
    expect(await store.takeReport(report)).toBe('stranger');
    await store.importUnits([report]);
    expect(await store.takeReports([report, report, { ...report, device: 'ee'.repeat(16) }])).toEqual([
      'new',
      'known',
      'stranger',
    ]);
    const heard = await store.unit(report);
    expect(await store.takeReport({ ...report, at: new Date() })).toBe('known');
    expect(await store.unit(report)).toEqual(heard);
    expect((await store.counts()).units).toBe(1);
  });

  it('from several connections at once loses none and counts each once', async () => {
    const place = stores.place();
    const [one, two] = [await stores.open(place), await stores.open(place)];
    const rows = Array.from({ length: 40 }, () => ({ classId: CLASS, device: newDevice() }));
    await one.importUnits(rows);
    const reports = rows.flatMap(({ device }) =>
      [1, 2, 3].map((age) => aReport({ device, age, outcome: age === 3 ? 'success' : 'pending' })),
    );
    const backwards = reports.toReversed();
    const taken = await Promise.all([
      ...reports.map((report) => one.takeReport(report)),
      ...backwards.map((report) => two.takeReport(report)),
    ]);
    expect(taken.filter((each) => each === 'new')).toHaveLength(reports.length);
    expect(taken.filter((each) => each === 'known')).toHaveLength(reports.length);
    expect((await one.counts()).byState).toMatchObject({ kept: 40, 'on-trial': 0, unheard: 0 });
    await requireBooksBalance(two);
  });

  it('writes refusals into the journal, with the wave that they fell in', async () => {
    const store = await stores.open();
    const report = aReport({ outcome: 'failed', refusal: { step: 'fit', code: 'image-too-large' } });
    await store.importUnits([report]);
    const broadcast = await offered(store);
    await store.placeUnits(broadcast, () => 1);
    await store.takeReports([report, report]);
    const [, event, ...more] = await store.events({ broadcast });
    expect(event).toMatchObject({
      kind: 'refused',
      broadcast,
      wave: 1,
      device: report.device,
      text: 'refused 1.5.0: image-too-large (fit)',
    });
    expect(more).toEqual([]);
  });
});

/** Counts are what a count over all units gives. */
async function requireBooksBalance(store: FleetStore): Promise<void> {
  const units: FleetUnit[] = [];
  for await (const unit of store.exportUnits()) units.push(unit);
  const counts = await store.counts();
  expect(counts.units).toBe(units.length);
  for (const [state, n] of Object.entries(counts.byState))
    expect([state, n]).toEqual([state, units.filter((unit) => unit.state === state).length]);
  for (const { version, units: n } of counts.byVersion)
    expect([version, n]).toEqual([version, units.filter((unit) => unit.version === version).length]);
  for (const { code, units: n } of counts.byRefusal)
    expect([code, n]).toEqual([code, units.filter(({ refusal }) => refusal?.code === code).length]);
}
