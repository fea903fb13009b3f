import type { Kysely } from 'kysely';
import { type Cell, cellOf } from './cells.ts';
import { classIds, findClass, offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { toldState } from './rows.ts';
import type { Tables } from './tables.ts';
import { type FleetCounts, UNIT_STATES, type UnitRefusal, type UnitState, type WaveCounts } from './types.ts';

export type CountedCell = Cell & { readonly n: number };

/** Cells that units stand in. */
export async function countedCells(
  db: Kysely<Tables>,
  of: { readonly classNo?: number | undefined; readonly waveNos?: readonly number[] | undefined } = {},
): Promise<CountedCell[]> {
  if (of.waveNos?.length === 0) return [];
  let found = db.selectFrom('cells').selectAll().where('n', '>', 0);
  if (of.classNo !== undefined) found = found.where('class_no', '=', of.classNo);
  if (of.waveNos) found = found.where('wave_no', 'in', [...of.waveNos]);
  const rows = await found.orderBy('no').execute();
  return rows.map((row) => ({ ...cellOf(row), n: row.n }));
}

/** How many units stand where, in all or in one class. */
export async function readCounts(
  core: Core,
  of: { classId?: string | undefined } = {},
): Promise<FleetCounts> {
  const { db } = core;
  const classNo = of.classId === undefined ? undefined : ((await findClass(db, of.classId)) ?? 0);
  const cells = await countedCells(db, { classNo });
  const waves = await offeredWaves(db);
  const classes = await classIds(db);
  return {
    units: cells.reduce((sum, { n }) => sum + n, 0),
    byClass: summed(cells, (cell) => String(cell.classNo)).map(({ first, units }) => ({
      classId: classes.get(first.classNo)!,
      units,
    })),
    byState: statesOf(cells.map((cell) => [toldState(cell.state, waves.get(cell.waveNo)), cell.n])),
    byVersion: summed(cells, (cell) => cell.version).map(({ first, units }) => ({
      version: first.version === '' ? undefined : first.version,
      units,
    })),
    byRefusal: refusalsOf(cells),
  };
}

/** How the units of each wave of a broadcast stand. */
export async function readWaveCounts({ db }: Core, broadcast: number): Promise<WaveCounts[]> {
  const waves = [...(await offeredWaves(db)).values()]
    .filter((wave) => wave.broadcast === broadcast)
    .sort((a, b) => a.number - b.number);
  const waveNos = waves.map(({ no }) => no);
  const cells: Counted[] = await countedCells(db, { waveNos });
  const left = waveNos.length === 0 ? [] : await leftCells(db, waveNos);
  return waves.map((wave) => {
    const own = [...cells, ...left].filter(({ waveNo }) => waveNo === wave.no);
    return {
      number: wave.number,
      units: own.reduce((sum, { n }) => sum + n, 0),
      byState: statesOf(own.map(({ state, n }) => [toldState(state, wave), n])),
      byRefusal: refusalsOf(own),
    };
  });
}

type Counted = Pick<CountedCell, 'waveNo' | 'state' | 'step' | 'code' | 'n'>;

async function leftCells(db: Kysely<Tables>, waveNos: readonly number[]): Promise<Counted[]> {
  const rows = await db
    .selectFrom('left_cells')
    .selectAll()
    .where('wave_no', 'in', [...waveNos])
    .execute();
  return rows.map(({ wave_no, state, refusal_step, refusal_code, n }) => ({
    waveNo: wave_no,
    state,
    step: refusal_step,
    code: refusal_code,
    n,
  }));
}

function statesOf(counted: readonly (readonly [UnitState, number])[]): Record<UnitState, number> {
  const states = Object.fromEntries(UNIT_STATES.map((state) => [state, 0])) as Record<UnitState, number>;
  for (const [state, n] of counted) states[state] += n;
  return states;
}

function refusalsOf(cells: readonly Counted[]): (UnitRefusal & { units: number })[] {
  return summed(
    cells.filter(({ code }) => code !== ''),
    ({ step, code }) => JSON.stringify([step, code]),
  ).map(({ first, units }) => ({ step: first.step, code: first.code, units }));
}

/** Sums by key, the largest first. */
function summed<T extends { readonly n: number }>(
  cells: readonly T[],
  keyOf: (cell: T) => string,
): { first: T; units: number }[] {
  const sums = new Map<string, { first: T; units: number }>();
  for (const cell of cells) {
    const key = keyOf(cell);
    const sum = sums.get(key) ?? { first: cell, units: 0 };
    sum.units += cell.n;
    sums.set(key, sum);
  }
  return [...sums.values()].sort((a, b) => b.units - a.units);
}
