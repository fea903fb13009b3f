import type { Core } from './core.ts';
import type { Lease } from './types.ts';

/**
 * Takes a lease that nobody holds, under the next token; undefined where somebody does. The clock is the one that all who share the
 * store have in common.
 */
export function takeLease(
  core: Core,
  name: string,
  holder: string,
  seconds: number,
): Promise<Lease | undefined> {
  return core.write(async ({ db }) => {
    const now = await core.backend.clock(db);
    const until = now + seconds * 1000;
    const taken = await db
      .insertInto('leases')
      .values({ name, holder, token: 1, until })
      .onConflict((conflict) =>
        conflict
          .column('name')
          .doUpdateSet((row) => ({ holder, until, token: row('leases.token', '+', 1) }))
          .where('leases.until', '<=', now),
      )
      .returning('token')
      .executeTakeFirst();
    return taken && { name, holder, token: taken.token, until: new Date(until) };
  });
}

/** Holds a lease for longer; undefined where it lapsed or passed on. */
export function renewLease(core: Core, lease: Lease, seconds: number): Promise<Lease | undefined> {
  return core.write(async ({ db }) => {
    const now = await core.backend.clock(db);
    const until = now + seconds * 1000;
    const { numUpdatedRows } = await db
      .updateTable('leases')
      .set({ until })
      .where('name', '=', lease.name)
      .where('token', '=', lease.token)
      .where('until', '>', now)
      .executeTakeFirst();
    return numUpdatedRows === 1n ? { ...lease, until: new Date(until) } : undefined;
  });
}

/** Gives a lease back; its token is never given again. */
export async function releaseLease(core: Core, { name, token }: Lease): Promise<void> {
  await core.write(({ db }) =>
    db.updateTable('leases').set({ until: 0 }).where('name', '=', name).where('token', '=', token).execute(),
  );
}

/** Who holds a lease now. */
export async function holderOf({ db, backend }: Core, name: string): Promise<Lease | undefined> {
  const row = await db.selectFrom('leases').selectAll().where('name', '=', name).executeTakeFirst();
  if (!row || row.until <= (await backend.clock(db))) return undefined;
  return { ...row, until: new Date(row.until) };
}

/** Every lease that somebody holds now. */
export async function heldLeases({ db, backend }: Core): Promise<Lease[]> {
  const now = await backend.clock(db);
  const rows = await db.selectFrom('leases').selectAll().where('until', '>', now).orderBy('name').execute();
  return rows.map((row) => ({ ...row, until: new Date(row.until) }));
}
