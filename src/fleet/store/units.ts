import type { Kysely } from 'kysely';
import type { Cell } from './cells.ts';
import { readCell } from './cells.ts';
import { classIds, findClass, type OfferedWave, offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { yieldTurn } from './core.ts';
import { unitOf } from './rows.ts';
import type { Tables, UnitRecord } from './tables.ts';
import type { FleetUnit, UnitName } from './types.ts';

const PIECE = 1000;

/** One unit; undefined where the store has none of that name. */
export async function readUnit(core: Core, name: UnitName): Promise<FleetUnit | undefined> {
  const row = await findRow(core.db, name);
  return row && (await teller(core, core.db)).tell(row);
}

/** The row of a unit. */
export async function findRow(
  db: Kysely<Tables>,
  { classId, device }: UnitName,
): Promise<UnitRecord | undefined> {
  const classNo = await findClass(db, classId);
  if (classNo === undefined) return undefined;
  return db
    .selectFrom('units')
    .selectAll()
    .where('class_no', '=', classNo)
    .where('device', '=', device)
    .executeTakeFirst();
}

/** Turns rows into units: classes and waves are looked up once. */
export interface Teller {
  tell(row: UnitRecord): Promise<FleetUnit>;
  cellAt(no: number): Promise<Cell>;
  readonly waves: ReadonlyMap<number, OfferedWave>;
}

export async function teller(core: Core, db: Kysely<Tables>): Promise<Teller> {
  const classes = await classIds(db);
  const waves = await offeredWaves(db);
  const cellAt = async (no: number) => {
    const known = core.cells.at(no);
    if (known) return known;
    const cell = await readCell(db, no);
    core.cells.learn([cell]);
    return cell;
  };
  return {
    waves,
    cellAt,
    async tell(row) {
      const cell = await cellAt(row.cell_no);
      return unitOf(row, cell, classes.get(row.class_no)!, waves.get(cell.waveNo));
    },
  };
}

/** Every unit in the order of its number, in pieces. */
export async function* eachUnit(core: Core, db: Kysely<Tables>): AsyncGenerator<FleetUnit> {
  const { tell } = await teller(core, db);
  for await (const row of eachRow(db)) yield await tell(row);
}

/** Every row of the units, in pieces. */
export async function* eachRow(db: Kysely<Tables>): AsyncGenerator<UnitRecord> {
  for (let last = 0; ; ) {
    const rows = await db
      .selectFrom('units')
      .selectAll()
      .where('no', '>', last)
      .orderBy('no')
      .limit(PIECE)
      .execute();
    yield* rows;
    if (rows.length < PIECE) return;
    last = rows.at(-1)!.no;
    await yieldTurn();
  }
}
