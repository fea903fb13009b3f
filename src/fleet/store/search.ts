import { findClass, type OfferedWave, offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { type CountedCell, countedCells } from './counts.ts';
import { type Found, malformed } from './found.ts';
import { toldState } from './rows.ts';
import { searchText } from './search-text.ts';
import type { UnitRecord } from './tables.ts';
import type { FleetUnit, Page, UnitQuery } from './types.ts';
import { teller } from './units.ts';

const USUAL = 100;
const MOST = 1000;
/** Cell, time of the last report and number of the last unit of a page. */
const CURSOR = /^(\d{1,16})\.(\d{1,16})\.(\d{1,16})$/;

/**
 * Looks for units. Whatever is asked for, the cells that fit are known at once, and only their units are read: in the order of their
 * cells, and in each the ones that were silent longest first. With `text` in the order of what it begins. Throws `FleetError`
 * query-malformed.
 */
export async function search(core: Core, query: UnitQuery): Promise<Page<FleetUnit>> {
  const limit = query.limit ?? USUAL;
  if (!(limit >= 1 && limit <= MOST)) throw malformed(`a page holds 1 to ${MOST} units`);
  const cells = await fitting(core, query);
  const found =
    query.text === undefined || query.text === ''
      ? await searchCells(core, query, cells, limit)
      : await searchText(core, { ...query, text: query.text, limit }, cells);
  const { tell } = await teller(core, core.db);
  return { items: await Promise.all(found.rows.map(tell)), next: found.next };
}

async function fitting({ db }: Core, query: UnitQuery): Promise<CountedCell[]> {
  const classNo = query.classId === undefined ? undefined : ((await findClass(db, query.classId)) ?? 0);
  const waves = await offeredWaves(db);
  const cells = await countedCells(db, { classNo });
  return cells.filter((cell) => fits(cell, waves.get(cell.waveNo), query));
}

function fits(cell: CountedCell, wave: OfferedWave | undefined, query: UnitQuery): boolean {
  const { state, version, refusal, wave: wanted } = query;
  if (state !== undefined && toldState(cell.state, wave) !== state) return false;
  if (version !== undefined && cell.version !== version) return false;
  if (refusal !== undefined && cell.code !== refusal) return false;
  if (wanted === undefined) return true;
  if (wave?.broadcast !== wanted.broadcast) return false;
  return wanted.number === undefined || wave.number === wanted.number;
}

async function searchCells(
  core: Core,
  query: UnitQuery,
  cells: readonly CountedCell[],
  limit: number,
): Promise<Found> {
  const [cellNo, heardAt, no] = cursorOf(query.after);
  const rows: UnitRecord[] = [];
  for (const cell of cells) {
    if (cell.no < cellNo) continue;
    const from = cell.no === cellNo ? ([heardAt, no] as const) : undefined;
    rows.push(...(await inCell(core, cell.no, query.silentSince, from, limit + 1 - rows.length)));
    if (rows.length > limit) break;
  }
  const page = rows.slice(0, limit);
  const last = rows.length > limit ? page.at(-1) : undefined;
  return { rows: page, next: last && `${last.cell_no}.${last.heard_at}.${last.no}` };
}

function inCell(
  { db }: Core,
  cellNo: number,
  since: Date | undefined,
  from: readonly [heardAt: number, no: number] | undefined,
  limit: number,
): Promise<UnitRecord[]> {
  let found = db.selectFrom('units').selectAll().where('cell_no', '=', cellNo);
  if (since) found = found.where('heard_at', '<', since.getTime());
  if (from) found = found.where((is) => is(is.refTuple('heard_at', 'no'), '>', is.tuple(from[0], from[1])));
  return found.orderBy('heard_at').orderBy('no').limit(limit).execute();
}

function cursorOf(after: string | undefined): readonly [number, number, number] {
  if (after === undefined) return [0, 0, 0];
  const parts = CURSOR.exec(after);
  if (!parts) throw malformed('that page does not exist');
  return [Number(parts[1]), Number(parts[2]), Number(parts[3])];
}
