import type { Database, Statement } from 'better-sqlite3';
import type { SqliteDatabase } from 'kysely';

const MOST = 200;
const LONGEST = 1 << 16;

/** A database that prepares a statement once, not each time that it runs; those used last are kept. */
export function keepingStatements(database: Database): SqliteDatabase {
  const kept = new Map<string, Statement<unknown[]>>();
  return {
    close: () => database.close(),
    prepare(sql) {
      const known = kept.get(sql);
      const statement = known ?? database.prepare<unknown[]>(sql);
      if (sql.length > LONGEST) return statement;
      kept.delete(sql);
      kept.set(sql, statement);
      if (kept.size > MOST) kept.delete(kept.keys().next().value!);
      return statement;
    },
  };
}
