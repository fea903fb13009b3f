import { Kysely, PostgresDialect, sql } from 'kysely';
import type { Backend } from './backend.ts';
import { FleetError } from './error.ts';
import { migrate } from './migrations.ts';
import type { Tables } from './tables.ts';

const CONNECTIONS = 8;
const CONNECT_MS = 10_000;
const INT8 = 20;
/** Serialisation failure, deadlock (PostgreSQL, Appendix A). */
const CLASHES: readonly unknown[] = ['40001', '40P01'];

/** Opens the store in a PostgreSQL database. `url` may hold a password: it is neither shown nor kept elsewhere. */
export async function openPostgres(url: string): Promise<Backend> {
  const { default: pg } = await import('pg');
  const pool = new pg.Pool({
    connectionString: url,
    max: CONNECTIONS,
    connectionTimeoutMillis: CONNECT_MS,
    types: {
      getTypeParser: ((oid: number, format?: 'text' | 'binary') =>
        oid === INT8 ? Number : pg.types.getTypeParser(oid, format as 'text')) as never,
    },
  });
  // A connection that breaks while nobody uses it is replaced by the next call.
  pool.on('error', () => {});
  const connect = () =>
    pool.connect().catch((error: unknown) => {
      throw unreachable(error);
    });
  const db = new Kysely<Tables>({
    dialect: new PostgresDialect({ pool: { connect, end: () => pool.end() } as never }),
  });
  try {
    await migrate(db as unknown as Kysely<never>, 'postgres');
  } catch (error) {
    await db.destroy();
    throw error;
  }
  return {
    kind: 'postgres',
    db,
    async clock(by) {
      const { rows } = await sql<{ ms: number }>`
        select (extract(epoch from clock_timestamp()) * 1000)::bigint as ms`.execute(by);
      return rows[0]!.ms;
    },
    snapshot: (use) => db.transaction().setIsolationLevel('repeatable read').execute(use),
    clashed: (error) => CLASHES.includes((error as { code?: unknown } | null)?.code),
    close: () => db.destroy(),
  };
}

function unreachable(error: unknown): FleetError {
  const { code, message } = error as { code?: string; message: string };
  return new FleetError(
    'store-unreachable',
    `the PostgreSQL database in FIELDSEAL_FLEET does not let us in (${code ?? message})`,
    'check that it runs, and host, port, name, user and password in FIELDSEAL_FLEET',
    error,
  );
}
