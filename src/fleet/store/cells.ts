import type { Kysely } from 'kysely';
import type { CellRecord, StoredState, Tables } from './tables.ts';

/** How units stand alike. */
export interface CellKey {
  readonly classNo: number;
  /** 0: in no wave. */
  readonly waveNo: number;
  readonly state: StoredState;
  readonly version: string;
  readonly step: string;
  readonly code: string;
}

export interface Cell extends CellKey {
  readonly no: number;
}

/** Cells by number and by what they say. Rows of that table say the same for ever, so those that were committed may be kept. */
export class CellCache {
  readonly #byNo = new Map<number, Cell>();
  readonly #byKey = new Map<string, Cell>();

  learn(cells: Iterable<Cell>): void {
    for (const cell of cells) {
      this.#byNo.set(cell.no, cell);
      this.#byKey.set(textOf(cell), cell);
    }
  }

  at(no: number): Cell | undefined {
    return this.#byNo.get(no);
  }

  like(key: CellKey): Cell | undefined {
    return this.#byKey.get(textOf(key));
  }
}

/** The cell with that number. It is there: units refer to it. */
export async function readCell(db: Kysely<Tables>, no: number): Promise<Cell> {
  return cellOf(await db.selectFrom('cells').selectAll().where('no', '=', no).executeTakeFirstOrThrow());
}

/** The cell of that kind, made where there is none yet. */
export async function makeCell(db: Kysely<Tables>, key: CellKey): Promise<Cell> {
  const row = {
    class_no: key.classNo,
    wave_no: key.waveNo,
    state: key.state,
    version: key.version,
    refusal_step: key.step,
    refusal_code: key.code,
  };
  await db
    .insertInto('cells')
    .values(row)
    .onConflict((conflict) => conflict.doNothing())
    .execute();
  let found = db.selectFrom('cells').selectAll();
  for (const [name, value] of Object.entries(row))
    found = found.where(name as keyof typeof row, '=', value as never);
  return cellOf(await found.executeTakeFirstOrThrow());
}

export function cellOf(row: CellRecord): Cell {
  return {
    no: row.no,
    classNo: row.class_no,
    waveNo: row.wave_no,
    state: row.state,
    version: row.version,
    step: row.refusal_step,
    code: row.refusal_code,
  };
}

export function textOf({ classNo, waveNo, state, version, step, code }: CellKey): string {
  return JSON.stringify([classNo, waveNo, state, version, step, code]);
}
