import type { FleetStore } from './types.ts';

const POSTGRES = /^postgres(?:ql)?:\/\//;

/**
 * Opens a fleet store: a file of SQLite by its path, made where it is not there yet, or a database of PostgreSQL by its address, which
 * comes from the environment and never from an argument, for it may hold a password. Throws `FleetError` store-missing,
 * store-unreachable, store-damaged, store-newer.
 */
export async function openFleet(
  where: string,
  { now = () => new Date() }: { now?: () => Date } = {},
): Promise<FleetStore> {
  const [{ storeOver }, backend] = await Promise.all([
    import('./store.ts'),
    POSTGRES.test(where)
      ? import('./postgres.ts').then(({ openPostgres }) => openPostgres(where))
      : import('./sqlite.ts').then(({ openSqlite }) => openSqlite(where)),
  ]);
  return storeOver(backend, now);
}
