import { sql } from 'kysely';
import { notThere, raiseRevision } from './broadcasts.ts';
import { offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { countedCells } from './counts.ts';
import { FleetError } from './error.ts';
import type { WaveRecord } from './tables.ts';
import type { Lease, Wave, WaveChange, WaveReach } from './types.ts';

const WITHOUT_END: readonly string[] = ['waiting', 'on-trial'];

/** The waves of a broadcast in their order. */
export async function listWaves({ db }: Core, broadcast: number): Promise<Wave[]> {
  const rows = await db
    .selectFrom('waves')
    .selectAll()
    .where('broadcast', '=', broadcast)
    .orderBy('number')
    .execute();
  return rows.map(waveOf);
}

/**
 * Changes the state of a wave; a wave is opened only while its broadcast runs. Throws `FleetError` broadcast-not-there,
 * revision-passed, change-not-allowed, lease-lost.
 */
export async function setWaveState(core: Core, change: WaveChange, fence?: Lease): Promise<Wave> {
  const { broadcast, number, expectedRevision, state, known, why, who } = change;
  const row = await core.write(async (tx) => {
    const { state: running } = await raiseRevision(tx.db, broadcast, expectedRevision);
    const before = await tx.db
      .selectFrom('waves')
      .selectAll()
      .where('broadcast', '=', broadcast)
      .where('number', '=', number)
      .executeTakeFirst();
    if (!before) throw notThere(broadcast);
    if (state === 'planned' || (state === 'open' && running !== 'running')) {
      throw new FleetError(
        'change-not-allowed',
        state === 'open'
          ? `wave ${number} cannot be opened: broadcast ${broadcast} is ${running}`
          : `wave ${number} of broadcast ${broadcast} is ${before.state}; it cannot become planned again`,
        'nothing was changed; see: fieldseal broadcast status',
      );
    }
    const opened_at = before.opened_at ?? (state === 'open' ? tx.now.getTime() : null);
    const after = {
      state,
      why: why ?? null,
      opened_at,
      since: before.state === state ? before.since : tx.now.getTime(),
      known: known === undefined ? before.known : JSON.stringify(known),
    };
    await tx.db.updateTable('waves').set(after).where('no', '=', before.no).execute();
    const text = why === undefined ? state : `${state}: ${why}`;
    await tx.note({ kind: `wave-${state}`, broadcast, wave: number, who, text });
    return { ...before, ...after };
  }, fence);
  return waveOf(row);
}

/** Units of an open wave that did not come to an end, also those on trial, and were not heard since `since`. */
export async function countSilent(
  core: Core,
  broadcast: number,
  number: number,
  since: Date,
): Promise<number> {
  const { db } = core;
  const wave = [...(await offeredWaves(db)).values()].find(
    (each) => each.broadcast === broadcast && each.number === number,
  );
  if (!wave || wave.opened_at === null || wave.opened_at > since.getTime()) return 0;
  const cells = (await countedCells(db, { waveNos: [wave.no] })).filter(({ state }) =>
    WITHOUT_END.includes(state),
  );
  if (cells.length === 0) return 0;
  const nos = cells.map(({ no }) => no);
  // Those that were heard lately and did not come to an end are few: they are counted, and the others are what is left.
  const { units, heard } = await db
    .selectNoFrom((of) => [
      of
        .selectFrom('cells')
        .select(sql<number>`cast(sum(n) as bigint)`.as('units'))
        .where('no', 'in', nos)
        .as('units'),
      of
        .selectFrom('units')
        .select(of.fn.countAll<number>().as('heard'))
        .where('cell_no', 'in', nos)
        .where('heard_at', '>=', since.getTime())
        .as('heard'),
    ])
    .executeTakeFirstOrThrow();
  return (units ?? 0) - (heard ?? 0);
}

function waveOf(row: WaveRecord): Wave {
  return {
    broadcast: row.broadcast,
    number: row.number,
    name: row.name,
    reach: JSON.parse(row.reach) as WaveReach,
    state: row.state,
    openedAt: row.opened_at === null ? undefined : new Date(row.opened_at),
    since: row.since === null ? undefined : new Date(row.since),
    known: row.known === null ? undefined : (JSON.parse(row.known) as unknown),
    why: row.why ?? undefined,
  };
}
