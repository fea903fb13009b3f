import { takeAttestation } from './attestations.ts';
import { numberClass, offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { takeReports } from './reports.ts';
import type { EventRecord, NewUnitRecord, ReportRecord, StoredState, UnitRecord } from './tables.ts';
import { reportOf } from './told.ts';

interface UnitFacts extends Omit<UnitRecord, 'no' | 'class_no' | 'cell_no'> {
  readonly class: string;
  readonly broadcast?: number;
  readonly wave?: number;
  readonly state: StoredState;
  readonly version: string;
  readonly step: string;
  readonly code: string;
}

type ReportFacts = Omit<ReportRecord, 'no' | 'unit_no' | 'raw'> & {
  readonly class: string;
  readonly device: string;
  readonly raw: string;
};

interface AttestationFacts {
  readonly class: string;
  readonly device: string;
  readonly id: string;
  readonly at: number;
  readonly verdict: string;
  readonly refusal: string | null;
}

/** Adds units that the store does not have, as they stood. Gives how many. */
export async function restoreUnits(core: Core, facts: readonly UnitFacts[]): Promise<number> {
  const classNos = new Map<string, number>();
  for (const { class: classId } of facts)
    if (!classNos.has(classId)) classNos.set(classId, await numberClass(core, classId));
  const waves = [...(await offeredWaves(core.db)).values()];
  const waveNo = ({ broadcast, wave }: UnitFacts) =>
    waves.find((each) => each.broadcast === broadcast && each.number === wave)?.no ?? 0;
  return core.write(async (tx) => {
    const rows: NewUnitRecord[] = [];
    for (const unit of facts) {
      const { class: classId, broadcast, wave, state, version, step, code, ...row } = unit;
      const classNo = classNos.get(classId)!;
      const cell = await tx.cellLike({ classNo, waveNo: waveNo(unit), state, version, step, code });
      rows.push({ ...row, class_no: classNo, cell_no: cell.no });
    }
    const added = await tx.db
      .insertInto('units')
      .values(rows)
      .onConflict((conflict) => conflict.columns(['class_no', 'device']).doNothing())
      .returning('cell_no')
      .execute();
    for (const { cell_no } of added) tx.move(undefined, await tx.cellAt(cell_no));
    return added.length;
  });
}

/** Takes reports that the store does not have: they move their units as ever, so none is set back. Gives how many. */
export async function restoreReports(core: Core, facts: readonly ReportFacts[]): Promise<number> {
  const reports = facts.map(({ class: classId, device, raw, ...row }) => ({
    classId,
    device,
    ...reportOf({ ...row, no: 0, unit_no: 0, raw: Buffer.from(raw, 'base64') }),
  }));
  const taken = await takeReports(core, reports);
  return taken.filter((each) => each === 'new').length;
}

export async function restoreAttestation(core: Core, facts: AttestationFacts): Promise<void> {
  const { class: classId, device, id, at, verdict, refusal } = facts;
  await takeAttestation(core, {
    classId,
    device,
    id,
    at: new Date(at),
    verdict,
    refusal: refusal ?? undefined,
  });
}

/** Adds entries of the journal under their own numbers, where there are none of those numbers. */
export async function restoreEvents(core: Core, facts: readonly EventRecord[]): Promise<void> {
  await core.write(({ db }) =>
    db
      .insertInto('events')
      .values([...facts])
      .onConflict((conflict) => conflict.column('seq').doNothing())
      .execute(),
  );
}
