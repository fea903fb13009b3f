import { mkdirSync } from 'node:fs';
import { dirname } from 'node:path';
import type { Database } from 'better-sqlite3';
import { CompiledQuery, type DatabaseConnection, Kysely, SqliteDialect, SqliteDriver } from 'kysely';
import { againWhere } from './again.ts';
import type { Backend } from './backend.ts';
import { FleetError } from './error.ts';
import { migrate } from './migrations.ts';
import { keepingStatements } from './statements.ts';
import type { Tables } from './tables.ts';

/** Short, for the whole process waits; `againWhere` waits longer and lets others work. */
const BUSY_MS = 5;
const CACHE_KIB = 65_536;

/** Opens the store in a file, made where it is not there yet. Durable: a commit that returned survives a power cut. */
export async function openSqlite(path: string): Promise<Backend> {
  const Driver = await driver();
  const open = (readonly: boolean) => openFile(Driver, path, readonly);
  mkdirSync(dirname(path), { recursive: true, mode: 0o700 });
  const db = new Kysely<Tables>({ dialect: new ImmediateDialect(open(false)) });
  try {
    await againWhere(clashed, () => migrate(db as unknown as Kysely<never>, 'sqlite'));
  } catch (error) {
    await db.destroy();
    throw damageOf(path, error);
  }
  return {
    kind: 'sqlite',
    db,
    clock: async () => Date.now(),
    async snapshot(use) {
      const reader = new Kysely<Tables>({ dialect: new SqliteDialect({ database: open(true) }) });
      try {
        return await reader.transaction().execute(use);
      } finally {
        await reader.destroy();
      }
    },
    clashed,
    close: () => db.destroy(),
  };
}

function clashed(error: unknown): boolean {
  return /^SQLITE_(?:BUSY|LOCKED)/.test(String((error as { code?: unknown } | null)?.code));
}

async function driver(): Promise<typeof import('better-sqlite3')> {
  try {
    const loaded = await import('better-sqlite3');
    return loaded.default;
  } catch (error) {
    throw missing(error);
  }
}

function missing(error: unknown): FleetError {
  return new FleetError(
    'store-missing',
    'the fleet store needs the optional package better-sqlite3, which is not installed or was not built for this Node version',
    'install it with a C++ compiler at hand: npm install better-sqlite3. Or name a PostgreSQL database in FIELDSEAL_FLEET',
    error,
  );
}

function openFile(Driver: typeof import('better-sqlite3'), path: string, readonly: boolean): Database {
  let file: Database;
  try {
    file = new Driver(path, { readonly, timeout: BUSY_MS });
  } catch (error) {
    // The binary part is loaded with the first file.
    if ((error as { code?: unknown }).code === 'SQLITE_CANTOPEN') throw damageOf(path, error);
    throw missing(error);
  }
  try {
    if (!readonly) {
      file.pragma('journal_mode = WAL');
      file.pragma('synchronous = FULL');
    }
    file.pragma('foreign_keys = ON');
    file.pragma(`cache_size = -${CACHE_KIB}`);
    return file;
  } catch (error) {
    file.close();
    throw damageOf(path, error);
  }
}

function damageOf(path: string, error: unknown): unknown {
  const code = String((error as { code?: unknown }).code);
  if (!/^SQLITE_(?:NOTADB|CORRUPT|CANTOPEN)/.test(code)) return error;
  const what = code === 'SQLITE_CANTOPEN' ? 'cannot be opened' : 'is damaged, or no fleet store';
  return new FleetError(
    'store-damaged',
    `${path} ${what}; it was left as it is`,
    'move it away and restore a backup: fieldseal fleet restore FILE',
    error,
  );
}

/** Takes the write lock when a transaction begins: one that first reads and then writes would fail where two meet. */
class ImmediateDialect extends SqliteDialect {
  readonly #database: Database;

  constructor(database: Database) {
    super({ database });
    this.#database = database;
  }

  override createDriver() {
    return new ImmediateDriver(this.#database);
  }
}

class ImmediateDriver extends SqliteDriver {
  readonly #database: Database;

  constructor(database: Database) {
    super({ database: keepingStatements(database) });
    this.#database = database;
  }

  override async beginTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw('begin immediate'));
  }

  /** After a full disk SQLite has rolled back by itself, and a second time would hide why. */
  override async rollbackTransaction(connection: DatabaseConnection): Promise<void> {
    if (this.#database.inTransaction) await super.rollbackTransaction(connection);
  }
}
