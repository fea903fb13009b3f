import type { Core } from './core.ts';
import type { SeenNumbers } from './types.ts';

/** What a backup begins with. */
export interface Head {
  readonly format: string;
  readonly made: string;
  readonly numbers: Readonly<Partial<Record<'event' | 'broadcast', number>>>;
  readonly leases: readonly { readonly name: string; readonly token: number }[];
}

/**
 * By how much numbers are raised where the store that the backup was made of is gone: more than can have been given since. Numbers
 * stay below 2^53.
 */
const GAPS = { event: 2 ** 24, broadcast: 1000, token: 2 ** 32 } as const;

/**
 * Raises the numbers of the store, before anything else: to those of the backup where it still has its own, above anything that may
 * have been given where it is empty. None ever falls.
 */
export async function raiseNumbers(core: Core, head: Head, seen: SeenNumbers): Promise<void> {
  await core.write(async (tx) => {
    const own = new Map(
      (await tx.db.selectFrom('numbers').selectAll().execute()).map(({ name, value }) => [name, value]),
    );
    const gone = own.size === 0;
    for (const name of ['event', 'broadcast'] as const) {
      const given = head.numbers[name] ?? 0;
      const known = Math.max(
        given + (gone ? GAPS[name] : 0),
        own.get(name) ?? 0,
        seen[name as 'broadcast'] ?? 0,
      );
      await tx.db
        .insertInto('numbers')
        .values({ name, value: known })
        .onConflict((conflict) => conflict.column('name').doUpdateSet({ value: known }))
        .execute();
    }
    for (const { name, token } of head.leases) {
      const least = token + (gone ? GAPS.token : 0);
      await tx.db
        .insertInto('leases')
        .values({ name, holder: '', token: least, until: 0 })
        .onConflict((conflict) =>
          conflict.column('name').doUpdateSet({ token: least }).where('leases.token', '<', least),
        )
        .execute();
    }
  });
}
