import type { Kysely } from 'kysely';
import type { Tables } from './tables.ts';

export type BackendKind = 'sqlite' | 'postgres';

/** A database, whichever it is. */
export interface Backend {
  readonly kind: BackendKind;
  readonly db: Kysely<Tables>;
  /** Milliseconds since 1970 by the clock that all who share the store have in common. */
  clock(db: Kysely<Tables>): Promise<number>;
  /** Lets `use` read the store as it is at one moment, while others write on. */
  snapshot<T>(use: (db: Kysely<Tables>) => Promise<T>): Promise<T>;
  /** Whether a transaction failed only because another one was under way. */
  clashed(error: unknown): boolean;
  close(): Promise<void>;
}
