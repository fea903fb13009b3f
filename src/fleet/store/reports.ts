import type { Cell } from './cells.ts';
import { findClass, type OfferedWave, offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { requireDigest, requireName } from './require.ts';
import { cellFor, runsOf, sequenceText, standingOf } from './rows.ts';
import { type Standing, standingAfter } from './standing.ts';
import type { UnitRecord } from './tables.ts';
import type { Tx } from './tx.ts';
import type { Taken, UnitReport } from './types.ts';

/**
 * Takes reports in one transaction: each is kept, and moves its unit where it bears on it. A report that was taken before changes
 * nothing. Throws `FleetError` unit-malformed.
 */
export function takeReports(core: Core, reports: readonly UnitReport[]): Promise<Taken[]> {
  for (const report of reports) {
    requireName(report);
    requireDigest(report.manifestDigest);
    requireDigest(report.id);
  }
  if (reports.length === 0) return Promise.resolve([]);
  return core.write(async (tx) => {
    const units = await unitsOf(tx, reports);
    const fresh = await keep(tx, reports, units);
    const taken: Taken[] = [];
    for (const [i, report] of reports.entries()) {
      const unit = units.get(nameOf(report));
      if (unit && fresh.has(i)) await unit.take(report);
      if (!unit) taken.push('stranger');
      else taken.push(fresh.has(i) ? 'new' : 'known');
    }
    for (const unit of [...units.values()].sort((a, b) => a.no - b.no)) await unit.settle();
    return taken;
  });
}

function nameOf({ classId, device }: UnitReport): string {
  return `${classId}/${device}`;
}

/** The units that reports come from, locked in the order of their numbers. */
async function unitsOf(tx: Tx, reports: readonly UnitReport[]): Promise<Map<string, ReportingUnit>> {
  const found: { classId: string; row: UnitRecord }[] = [];
  for (const classId of [...new Set(reports.map((report) => report.classId))].sort()) {
    const classNo = await findClass(tx.db, classId);
    if (classNo === undefined) continue;
    const devices = reports.filter((report) => report.classId === classId).map(({ device }) => device);
    const wanted = tx.db
      .selectFrom('units')
      .selectAll()
      .where('class_no', '=', classNo)
      .where('device', 'in', [...new Set(devices)])
      .orderBy('no');
    const rows = await (tx.locks ? wanted.forUpdate() : wanted).execute();
    found.push(...rows.map((row) => ({ classId, row })));
  }
  const cells = await Promise.all(found.map(({ row }) => tx.cellAt(row.cell_no)));
  const waves = await offeredWaves(tx.db, [...new Set(cells.map(({ waveNo }) => waveNo))]);
  return new Map(
    found.map(({ classId, row }, i) => {
      const cell = cells[i]!;
      const unit = new ReportingUnit(tx, row, cell, waves.get(cell.waveNo));
      return [`${classId}/${row.device}`, unit] as const;
    }),
  );
}

/** Keeps what was not kept before. Gives the places of those reports. */
async function keep(
  tx: Tx,
  reports: readonly UnitReport[],
  units: ReadonlyMap<string, ReportingUnit>,
): Promise<ReadonlySet<number>> {
  const first = new Map<string, number>();
  for (const [i, report] of reports.entries())
    if (units.has(nameOf(report)) && !first.has(report.id)) first.set(report.id, i);
  if (first.size === 0) return new Set();
  const rows = [...first.values()].map((i) => {
    const report = reports[i]!;
    return { unit_no: units.get(nameOf(report))!.no, ...reportRow(report) };
  });
  const kept = await tx.db
    .insertInto('reports')
    .values(rows)
    .onConflict((conflict) => conflict.column('id').doNothing())
    .returning('id')
    .execute();
  return new Set(kept.map(({ id }) => first.get(id)!));
}

/** A report as its table has it, but for the unit. */
export function reportRow(report: Omit<UnitReport, 'classId' | 'device'>) {
  const { id, at, age, manifestDigest, sequence, version, outcome, refusal, raw } = report;
  return {
    id,
    at: at.getTime(),
    age: age ?? null,
    manifest_digest: manifestDigest ?? null,
    sequence: sequence === undefined ? null : sequenceText(sequence),
    version: version ?? null,
    outcome,
    refusal_step: refusal?.step ?? null,
    refusal_code: refusal?.code ?? null,
    raw: Buffer.from(raw),
  };
}

/** A unit whose reports are being taken. */
class ReportingUnit {
  readonly #tx: Tx;
  readonly #row: UnitRecord;
  readonly #cell: Cell;
  readonly #wave: OfferedWave | undefined;
  readonly #before: Standing;
  #standing: Standing;

  constructor(tx: Tx, row: UnitRecord, cell: Cell, wave: OfferedWave | undefined) {
    this.#tx = tx;
    this.#row = row;
    this.#cell = cell;
    this.#wave = wave;
    this.#before = standingOf(row, cell);
    this.#standing = this.#before;
  }

  get no(): number {
    return this.#row.no;
  }

  async take(report: UnitReport): Promise<void> {
    const before = this.#standing.ended;
    this.#standing = standingAfter(this.#standing, report, this.#wave?.manifest_digest);
    const { ended } = this.#standing;
    if (!ended || ended === before) return;
    if (ended.state !== 'refused' && ended.state !== 'fell-back') return;
    const { step, code } = ended.refusal ?? { step: 'unknown', code: 'for a reason of its own' };
    const told = `${ended.state === 'refused' ? 'refused' : 'fell back from'} ${report.version ?? 'what it was offered'}: ${code} (${step})`;
    const { broadcast, number } = this.#wave ?? {};
    await this.#tx.note({
      kind: ended.state,
      broadcast,
      wave: number,
      device: this.#row.device,
      who: 'unit',
      text: told,
    });
  }

  /** Writes what its reports amount to, where they moved anything. */
  async settle(): Promise<void> {
    const { ended, runs, heard } = this.#standing;
    if (ended === this.#before.ended && runs === this.#before.runs && heard === this.#before.heard) return;
    const running = runs ?? runsOf(this.#row, this.#cell);
    const cell = await this.#tx.cellLike(cellFor(this.#cell, this.#wave, ended, running));
    this.#tx.move(this.#cell, cell);
    await this.#tx.db
      .updateTable('units')
      .set({
        cell_no: cell.no,
        heard_at: heard!.at.getTime(),
        heard_order: heard!.order,
        runs_order: runs?.order ?? null,
        ended_order: ended?.order ?? null,
        digest: running.digest ?? null,
        sequence: running.sequence === undefined ? null : sequenceText(running.sequence),
      })
      .where('no', '=', this.#row.no)
      .execute();
  }
}
