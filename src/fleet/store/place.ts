import { notThere, readBroadcast } from './broadcasts.ts';
import type { Cell } from './cells.ts';
import { findClass, type OfferedWave, offeredWaves } from './classes.ts';
import { type Core, yieldTurn } from './core.ts';
import { countedCells } from './counts.ts';
import { cellFor, runsOf, unitOf } from './rows.ts';
import { type Ended, NOTHING_HEARD, standingAfter } from './standing.ts';
import type { ReportRecord, UnitRecord } from './tables.ts';
import { reportOf } from './told.ts';
import type { Tx } from './tx.ts';
import type { FleetUnit, Lease } from './types.ts';

const PIECE = 1000;

type WaveOf = (device: string, unit: FleetUnit) => number | undefined;

/** Puts units of the class that are not in the broadcast yet into its waves. In pieces, and so that it can be done again. */
export async function placeUnits(core: Core, id: number, waveOf: WaveOf, fence?: Lease): Promise<number> {
  const broadcast = await readBroadcast(core, id);
  if (!broadcast) throw notThere(id);
  const { classId } = broadcast;
  const classNo = (await findClass(core.db, classId))!;
  const waves = await offeredWaves(core.db);
  const own = new Map(
    [...waves.values()].filter((wave) => wave.broadcast === id).map((wave) => [wave.number, wave]),
  );
  if (await allPlaced(core, classNo, own)) return 0;
  const digest = broadcast.release.manifestDigest;
  let placed = 0;
  for (let last: number | undefined = 0; last !== undefined; ) {
    const after: number = last;
    const piece = await core.write(async (tx) => {
      const rows = await rowsAfter(tx, classNo, after);
      const found = await toPlace(tx, rows, { classId, waves, own, waveOf });
      await place(tx, found, await endings(tx, found, digest, classId));
      return { count: found.length, last: rows.length < PIECE ? undefined : rows.at(-1)!.no };
    }, fence);
    placed += piece.count;
    last = piece.last;
    await yieldTurn();
  }
  return placed;
}

/** Whether every unit of a class is in one of the waves: the counts say so, and no unit is read. */
async function allPlaced(
  { db }: Core,
  classNo: number,
  own: ReadonlyMap<number, OfferedWave>,
): Promise<boolean> {
  const ownNos = new Set([...own.values()].map(({ no }) => no));
  return (await countedCells(db, { classNo })).every(({ waveNo }) => ownNos.has(waveNo));
}

interface Placing {
  readonly row: UnitRecord;
  readonly cell: Cell;
  readonly wave: OfferedWave;
}

function rowsAfter(tx: Tx, classNo: number, after: number): Promise<UnitRecord[]> {
  const wanted = tx.db
    .selectFrom('units')
    .selectAll()
    .where('class_no', '=', classNo)
    .where('no', '>', after)
    .orderBy('no')
    .limit(PIECE);
  return (tx.locks ? wanted.forUpdate() : wanted).execute();
}

async function toPlace(
  tx: Tx,
  rows: readonly UnitRecord[],
  by: {
    readonly classId: string;
    readonly waves: ReadonlyMap<number, OfferedWave>;
    readonly own: ReadonlyMap<number, OfferedWave>;
    readonly waveOf: WaveOf;
  },
): Promise<Placing[]> {
  const ownNos = new Set([...by.own.values()].map(({ no }) => no));
  const found: Placing[] = [];
  for (const row of rows) {
    const cell = await tx.cellAt(row.cell_no);
    if (ownNos.has(cell.waveNo)) continue;
    const number = by.waveOf(row.device, unitOf(row, cell, by.classId, by.waves.get(cell.waveNo)));
    const wave = number === undefined ? undefined : by.own.get(number);
    if (wave) found.push({ row, cell, wave });
  }
  return found;
}

/** How those units ended what they are offered now, as far as their reports say: some had it before. */
async function endings(
  tx: Tx,
  placing: readonly Placing[],
  digest: string,
  classId: string,
): Promise<ReadonlyMap<number, Ended>> {
  const heard = new Map(
    placing.filter(({ row }) => row.heard_order !== null).map(({ row }) => [row.no, row]),
  );
  if (heard.size === 0) return new Map();
  const reports: ReportRecord[] = await tx.db
    .selectFrom('reports')
    .selectAll()
    .where('unit_no', 'in', [...heard.keys()])
    .where('manifest_digest', '=', digest)
    .execute();
  const ends = new Map<number, Ended>();
  for (const row of reports) {
    const report = { classId, device: heard.get(row.unit_no)!.device, ...reportOf(row) };
    const { ended } = standingAfter({ ...NOTHING_HEARD, ended: ends.get(row.unit_no) }, report, digest);
    if (ended) ends.set(row.unit_no, ended);
  }
  return ends;
}

/** Moves units that come to stand alike in one statement. */
async function place(tx: Tx, placing: readonly Placing[], ends: ReadonlyMap<number, Ended>): Promise<void> {
  const alike = new Map<string, { cell_no: number; ended_order: string | null; units: number[] }>();
  for (const { row, cell, wave } of placing) {
    const ended = ends.get(row.no);
    const to = await tx.cellLike(
      cellFor({ classNo: row.class_no, waveNo: wave.no }, wave, ended, runsOf(row, cell)),
    );
    tx.move(cell, to);
    const ended_order = ended?.order ?? null;
    const key = `${to.no} ${ended_order}`;
    const group = alike.get(key);
    if (group) group.units.push(row.no);
    else alike.set(key, { cell_no: to.no, ended_order, units: [row.no] });
  }
  for (const { units, ...set } of alike.values())
    await tx.db.updateTable('units').set(set).where('no', 'in', units).execute();
}
