import { type RawBuilder, sql } from 'kysely';
import { type Core, yieldTurn } from './core.ts';
import { RANK } from './standing.ts';
import type { Tx } from './tx.ts';
import type { BroadcastState, ThinnedReports } from './types.ts';

/** Units whose reports are thinned in one transaction: others write in between. */
const UNITS_AT_ONCE = 1000;
const OPEN: readonly BroadcastState[] = ['planned', 'running', 'paused'];

/**
 * Counts the reports from before a time that say nothing which a newer one does not, and takes them out where `remove`. Of each unit
 * stay its newest report about each release, by the age of its marks, and its newest of success, so that what it is said to be, now
 * and in any later broadcast, stays as it is; and all about releases whose broadcasts are open. In pieces that can be done again.
 */
export async function thinReports(core: Core, before: Date, remove: boolean): Promise<ThinnedReports> {
  let spare = 0;
  for (let after: number | undefined = 0; after !== undefined; ) {
    const from: number = after;
    const piece = await core.write(async (tx) => {
      const last = await endOfPiece(tx, from);
      return { last, spare: last === undefined ? 0 : await thin(tx, { from, last, before, remove }) };
    });
    spare += piece.spare;
    after = piece.last;
    await yieldTurn();
  }
  const { all } = await core.db
    .selectFrom('reports')
    .select(({ fn }) => fn.countAll<number>().as('all'))
    .executeTakeFirstOrThrow();
  return { spare, kept: Number(all) - (remove ? 0 : spare) };
}

/** The last unit of the piece after `from`; undefined where there is none. */
async function endOfPiece({ db }: Tx, from: number): Promise<number | undefined> {
  const units = await db
    .selectFrom('units')
    .select('no')
    .where('no', '>', from)
    .orderBy('no')
    .limit(UNITS_AT_ONCE)
    .execute();
  return units.at(-1)?.no;
}

interface Piece {
  /** Number of the unit before the first. */
  readonly from: number;
  readonly last: number;
  readonly before: Date;
  readonly remove: boolean;
}

async function thin({ db }: Tx, { from, last, before, remove }: Piece): Promise<number> {
  const ranked = db
    .selectFrom('reports')
    .select([
      'no',
      'at',
      'outcome',
      'manifest_digest',
      placeAmong(sql`unit_no, manifest_digest`).as('of_release'),
      placeAmong(sql`unit_no, outcome`).as('of_outcome'),
    ])
    .where('unit_no', '>', from)
    .where('unit_no', '<=', last);
  const offered = db.selectFrom('broadcasts').select('manifest_digest').where('state', 'in', OPEN);
  const spare = db
    .selectFrom(ranked.as('ranked'))
    .select('no')
    .where('at', '<', before.getTime())
    .where('of_release', '>', 1)
    .where((is) => is.or([is('outcome', '!=', 'success'), is('of_outcome', '>', 1)]))
    .where((is) => is.or([is('manifest_digest', 'is', null), is('manifest_digest', 'not in', offered)]));
  if (!remove) return (await spare.execute()).length;
  const { numDeletedRows } = await db.deleteFrom('reports').where('no', 'in', spare).executeTakeFirst();
  return Number(numDeletedRows);
}

/** Which of its kind a report is, the newest first: the order of `orderOf`. */
function placeAmong(kind: RawBuilder<unknown>): RawBuilder<number> {
  const ranks = Object.entries(RANK).map(
    ([outcome, rank]) => sql`when ${sql.lit(outcome)} then ${sql.lit(rank)}`,
  );
  return sql<number>`row_number() over (partition by ${kind}
    order by coalesce(age, -1) desc, case outcome ${sql.join(ranks, sql` `)} end desc, id desc)`;
}
