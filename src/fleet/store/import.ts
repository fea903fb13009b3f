import type { Cell } from './cells.ts';
import { numberClass, offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { yieldTurn } from './core.ts';
import { requireRow } from './require.ts';
import { cellFor, runsOf, sequenceText, standingOf } from './rows.ts';
import type { NewUnitRecord, UnitRecord } from './tables.ts';
import type { Tx } from './tx.ts';
import type { ImportedUnits, UnitRow } from './types.ts';

/** Rows in one transaction: enough to pay for its commit, few enough that nobody waits long. */
const PIECE = 1000;
/** Rows in one statement: SQLite binds 32,766 values at most, PostgreSQL 65,535. */
const STATEMENT = 100;

/** Adds units, and what an inventory tells of known ones; what is left out stays as it is. Throws `FleetError` unit-malformed. */
export async function importUnits(
  core: Core,
  rows: Iterable<UnitRow> | AsyncIterable<UnitRow>,
): Promise<ImportedUnits> {
  const total = { added: 0, changed: 0, same: 0 };
  const waiting = new Map<string, Map<string, UnitRow>>();
  let count = 0;
  const flush = async () => {
    for (const [classId, units] of waiting) {
      const classNo = await numberClass(core, classId);
      const done = await core.write((tx) => importPiece(tx, classNo, units));
      for (const name of ['added', 'changed', 'same'] as const) total[name] += done[name];
      await yieldTurn();
    }
    waiting.clear();
    count = 0;
  };
  for await (const row of rows) {
    requireRow(row);
    let units = waiting.get(row.classId);
    if (!units) {
      units = new Map();
      waiting.set(row.classId, units);
    }
    units.set(row.device, row);
    count += 1;
    if (count === PIECE) await flush();
  }
  await flush();
  return total;
}

async function importPiece(
  tx: Tx,
  classNo: number,
  rows: ReadonlyMap<string, UnitRow>,
): Promise<ImportedUnits> {
  const wanted = tx.db
    .selectFrom('units')
    .selectAll()
    .where('class_no', '=', classNo)
    .where('device', 'in', [...rows.keys()])
    .orderBy('no');
  const known = await (tx.locks ? wanted.forUpdate() : wanted).execute();
  let changed = 0;
  for (const unit of known) if (await change(tx, unit, rows.get(unit.device)!)) changed += 1;
  const there = new Set(known.map(({ device }) => device));
  const fresh = [...rows.values()].filter(({ device }) => !there.has(device));
  await add(tx, classNo, fresh);
  return { added: fresh.length, changed, same: known.length - changed };
}

async function add(tx: Tx, classNo: number, rows: readonly UnitRow[]): Promise<void> {
  const cells = new Map<string, Cell>();
  const records: NewUnitRecord[] = [];
  for (const row of rows) {
    const version = row.version ?? '';
    let cell = cells.get(version);
    if (!cell) {
      cell = await tx.cellLike({ classNo, waveNo: 0, state: 'unheard', version, step: '', code: '' });
      cells.set(version, cell);
    }
    tx.move(undefined, cell);
    records.push({ class_no: classNo, device: row.device, cell_no: cell.no, heard_at: 0, ...factsOf(row) });
  }
  // SQLite need not be ready to take back single statements: the transaction is taken back as a whole.
  const into = tx.locks ? tx.db.insertInto('units') : tx.db.insertInto('units').orFail();
  for (let i = 0; i < records.length; i += STATEMENT)
    await into.values(records.slice(i, i + STATEMENT)).execute();
}

function factsOf({ serial, group, hardware, tags, sequence, digest }: UnitRow) {
  return {
    serial: serial ?? null,
    site: group ?? null,
    hardware: hardware ?? null,
    tags: tags === undefined ? null : JSON.stringify(tags),
    sequence: sequence === undefined ? null : sequenceText(sequence),
    digest: digest ?? null,
  };
}

/** Whether anything was new. The word of the unit on what it runs counts more than that of an inventory. */
async function change(tx: Tx, unit: UnitRecord, row: UnitRow): Promise<boolean> {
  const cell = await tx.cellAt(unit.cell_no);
  const told = factsOf(row);
  // What it runs is told as a whole: a digest of one release never stands beside the number of another.
  const tells =
    unit.runs_order === null && [row.version, row.sequence, row.digest].some((fact) => fact !== undefined);
  const next = {
    serial: told.serial ?? unit.serial,
    site: told.site ?? unit.site,
    hardware: told.hardware ?? unit.hardware,
    tags: told.tags ?? unit.tags,
    ...(tells && { sequence: told.sequence, digest: told.digest }),
  };
  const version = tells ? (row.version ?? '') : cell.version;
  const wave = (await offeredWaves(tx.db, cell.waveNo === 0 ? [] : [cell.waveNo])).get(cell.waveNo);
  const after = { ...unit, ...next };
  const runs = runsOf(after, { ...cell, version });
  const to = await tx.cellLike(cellFor(cell, wave, standingOf(unit, cell).ended, runs));
  const names = Object.keys(next) as (keyof typeof next)[];
  if (to.no === cell.no && names.every((name) => next[name] === unit[name])) return false;
  tx.move(cell, to);
  await tx.db
    .updateTable('units')
    .set({ ...next, cell_no: to.no })
    .where('no', '=', unit.no)
    .execute();
  return true;
}
