import type { Kysely } from 'kysely';
import type { Backend } from './backend.ts';
import { CellCache } from './cells.ts';
import type { Tables } from './tables.ts';
import { Tx } from './tx.ts';
import type { Lease } from './types.ts';

const ATTEMPTS = 8;
const PAUSE_MS = 20;

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
    for (let attempt = 1; ; attempt++) {
      let tx: Tx | undefined;
      try {
        const result = await this.db.transaction().execute(async (db) => {
          tx = new Tx(this, db);
          if (fence) await tx.requireLease(fence);
          const done = await work(tx);
          await tx.settle();
          return done;
        });
        this.cells.learn(tx!.made);
        return result;
      } catch (error) {
        if (attempt === ATTEMPTS || !this.backend.clashed(error)) throw error;
        await pause(PAUSE_MS * attempt * (1 + Math.random()));
      }
    }
  }
}

/** Lets others have their turn: a database in this process answers without ever waiting. */
export function yieldTurn(): Promise<void> {
  return new Promise((resolve) => {
    setImmediate(resolve);
  });
}

function pause(ms: number): Promise<void> {
  return new Promise((resolve) => {
    setTimeout(resolve, ms);
  });
}
