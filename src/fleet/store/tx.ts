import { type Kysely, sql } from 'kysely';
import { type Cell, type CellKey, makeCell, readCell, textOf } from './cells.ts';
import type { Core } from './core.ts';
import { FleetError } from './error.ts';
import type { Tables } from './tables.ts';
import type { FleetEvent, Lease, NewEvent } from './types.ts';

/** A transaction under way: the counts are brought up to date when it ends. */
export class Tx {
  readonly db: Kysely<Tables>;
  readonly #core: Core;
  readonly #made = new Map<string, Cell>();
  readonly #moved = new Map<number, number>();
  readonly #left = new Map<string, { cell: Cell; n: number }>();

  constructor(core: Core, db: Kysely<Tables>) {
    this.#core = core;
    this.db = db;
  }

  /** Cells that this transaction met first. */
  get made(): Iterable<Cell> {
    return this.#made.values();
  }

  get now(): Date {
    return this.#core.now();
  }

  /** Whether rows are to be locked when they are read: elsewhere whoever writes is alone. */
  get locks(): boolean {
    return this.#core.backend.kind === 'postgres';
  }

  async cellAt(no: number): Promise<Cell> {
    const known = this.#core.cells.at(no);
    if (known) return known;
    const cell = await readCell(this.db, no);
    this.#made.set(textOf(cell), cell);
    return cell;
  }

  async cellLike(key: CellKey): Promise<Cell> {
    const text = textOf(key);
    const known = this.#core.cells.like(key) ?? this.#made.get(text);
    if (known) return known;
    const cell = await makeCell(this.db, key);
    this.#made.set(text, cell);
    return cell;
  }

  /** `n` units stand elsewhere from now on; from nowhere where they are new. */
  move(from: Cell | undefined, to: Cell, n = 1): void {
    if (from?.no === to.no) return;
    if (from) this.#moved.set(from.no, (this.#moved.get(from.no) ?? 0) - n);
    this.#moved.set(to.no, (this.#moved.get(to.no) ?? 0) + n);
    if (from && from.waveNo !== 0 && from.waveNo !== to.waveNo) {
      const key = textOf(from);
      this.#left.set(key, { cell: from, n: (this.#left.get(key)?.n ?? 0) + n });
    }
  }

  /** Writes the counts, always in the same order, so that two transactions never wait for each other. */
  async settle(): Promise<void> {
    for (const [no, by] of [...this.#moved].sort(([a], [b]) => a - b)) {
      if (by === 0) continue;
      await this.db
        .updateTable('cells')
        .set({ n: sql`n + ${by}` })
        .where('no', '=', no)
        .execute();
    }
    for (const { cell, n } of this.#left.values()) {
      const { waveNo: wave_no, state, step: refusal_step, code: refusal_code } = cell;
      await this.db
        .insertInto('left_cells')
        .values({ wave_no, state, refusal_step, refusal_code, n })
        .onConflict((conflict) =>
          conflict
            .columns(['wave_no', 'state', 'refusal_step', 'refusal_code'])
            .doUpdateSet({ n: sql`left_cells.n + ${n}` }),
        )
        .execute();
    }
  }

  /** The next number of that name: never given twice, and in the order in which transactions end. */
  async nextNumber(name: 'event' | 'broadcast'): Promise<number> {
    const { value } = await this.db
      .insertInto('numbers')
      .values({ name, value: 1 })
      .onConflict((conflict) => conflict.column('name').doUpdateSet({ value: sql`numbers.value + 1` }))
      .returning('value')
      .executeTakeFirstOrThrow();
    return value;
  }

  async note(event: NewEvent): Promise<FleetEvent> {
    const seq = await this.nextNumber('event');
    const at = this.now;
    const { kind, broadcast = null, wave = null, device = null, who, text } = event;
    const row = { seq, at: at.getTime(), kind, broadcast, wave, device, who, text };
    await this.db.insertInto('events').values(row).execute();
    return { ...event, seq, at };
  }

  /** Refuses where the lease has lapsed or passed on; until the transaction ends it does neither. */
  async requireLease({ name, token }: Lease): Promise<void> {
    const wanted = this.db.selectFrom('leases').select(['token', 'until', 'holder']).where('name', '=', name);
    const held = await (this.locks ? wanted.forShare() : wanted).executeTakeFirst();
    if (held?.token === token && held.until > (await this.#core.backend.clock(this.db))) return;
    const now = held && held.token !== token ? `: ${held.holder} has it now` : '';
    throw new FleetError(
      'lease-lost',
      `the lease "${name}" lapsed or passed on${now}; nothing was written`,
      'whoever holds it goes on; take it again to write',
    );
  }
}
