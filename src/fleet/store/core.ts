import type { Kysely } from 'kysely';
import { againWhere } from './again.ts';
import type { Backend } from './backend.ts';
import { CellCache } from './cells.ts';
import type { Tables } from './tables.ts';
import { Tx } from './tx.ts';
import type { Lease } from './types.ts';

/** What every part of the store works with. */
export class Core {
  readonly backend: Backend;
  readonly cells = new CellCache();
  readonly now: () => Date;

  constructor(backend: Backend, now: () => Date) {
    this.backend = backend;
    this.now = now;
  }

  get db(): Kysely<Tables> {
    return this.backend.db;
  }

  /**
   * One transaction, again where it clashed with another. With a `fence`, only while that lease is held: it cannot pass on before
   * the transaction ends. Throws `FleetError` lease-lost.
   */
  async write<T>(work: (tx: Tx) => Promise<T>, fence?: Lease): Promise<T> {
    let tx: Tx | undefined;
    const result = await againWhere(this.backend.clashed, () =>
      this.db.transaction().execute(async (db) => {
        tx = new Tx(this, db);
        if (fence) await tx.requireLease(fence);
        const done = await work(tx);
        await tx.settle();
        return done;
      }),
    );
    this.cells.learn(tx!.made);
    return result;
  }
}

/** Lets others have their turn: a database in this process answers without ever waiting. */
export function yieldTurn(): Promise<void> {
  return new Promise((resolve) => {
    setImmediate(resolve);
  });
}
