import type { Kysely } from 'kysely';
import type { Core } from './core.ts';
import type { BroadcastRecord, Tables, WaveRecord } from './tables.ts';

/** Number of a class in the store; undefined where it has none. */
export async function findClass(db: Kysely<Tables>, classId: string): Promise<number | undefined> {
  const row = await db.selectFrom('classes').select('no').where('class_id', '=', classId).executeTakeFirst();
  return row?.no;
}

/** Number of a class, given where it has none. In a transaction of its own. */
export async function numberClass(core: Core, classId: string): Promise<number> {
  const known = await findClass(core.db, classId);
  if (known !== undefined) return known;
  await core.write(({ db }) =>
    db
      .insertInto('classes')
      .values({ class_id: classId })
      .onConflict((conflict) => conflict.doNothing())
      .execute(),
  );
  return (await findClass(core.db, classId))!;
}

/** Class identifiers by number. */
export async function classIds(db: Kysely<Tables>): Promise<ReadonlyMap<number, string>> {
  const rows = await db.selectFrom('classes').selectAll().execute();
  return new Map(rows.map(({ no, class_id }) => [no, class_id]));
}

/** A wave with what it offers. */
export type OfferedWave = Pick<WaveRecord, 'no' | 'broadcast' | 'number' | 'opened_at'> &
  Pick<BroadcastRecord, 'manifest_digest' | 'sequence'>;

/** All waves by number, or those named: a few hundred rows at most. */
export async function offeredWaves(
  db: Kysely<Tables>,
  numbers?: readonly number[],
): Promise<ReadonlyMap<number, OfferedWave>> {
  if (numbers?.length === 0) return new Map();
  let found = db
    .selectFrom('waves')
    .innerJoin('broadcasts', 'broadcasts.id', 'waves.broadcast')
    .select([
      'waves.no',
      'waves.broadcast',
      'waves.number',
      'waves.opened_at',
      'broadcasts.manifest_digest',
      'broadcasts.sequence',
    ]);
  if (numbers) found = found.where('waves.no', 'in', [...numbers]);
  return new Map((await found.execute()).map((wave) => [wave.no, wave]));
}
