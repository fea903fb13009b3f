import { numberClass } from './classes.ts';
import type { Core } from './core.ts';
import { FleetError } from './error.ts';
import type { BroadcastRecord, StoredState, WaveRecord } from './tables.ts';

type BroadcastFacts = Omit<BroadcastRecord, 'class_no'> & { readonly class: string };
type WaveFacts = Omit<WaveRecord, 'no'>;

interface LeftFacts {
  readonly broadcast: number;
  readonly wave: number;
  readonly state: StoredState;
  readonly refusal_step: string;
  readonly refusal_code: string;
  readonly n: number;
}

/** Adds a broadcast that the store does not have. One that was under way comes back paused: its id is given then. */
export async function restoreBroadcast(
  core: Core,
  facts: BroadcastFacts,
  path: string,
): Promise<number | undefined> {
  const { class: classId, ...row } = facts;
  const classNo = await numberClass(core, classId);
  return core.write(async (tx) => {
    const own = await tx.db.selectFrom('broadcasts').selectAll().where('id', '=', row.id).executeTakeFirst();
    if (own) {
      if (own.created_at === row.created_at && own.manifest_digest === row.manifest_digest) return undefined;
      throw foreign(path, row.id);
    }
    const ran = ['planned', 'running', 'paused'].includes(row.state);
    const other = ran
      ? await tx.db
          .selectFrom('broadcasts')
          .select('id')
          .where('class_no', '=', classNo)
          .where('state', 'in', ['planned', 'running', 'paused'])
          .executeTakeFirst()
      : undefined;
    const why = other
      ? `restored from a backup beside broadcast ${other.id}`
      : `restored from a backup: it was ${row.state}`;
    const state = other ? 'halted' : 'paused';
    await tx.db
      .insertInto('broadcasts')
      .values({ ...row, class_no: classNo, revision: row.revision + 1, ...(ran && { state, why }) })
      .execute();
    return ran ? row.id : undefined;
  });
}

function foreign(path: string, id: number): FleetError {
  return new FleetError(
    'backup-foreign',
    `broadcast ${id} in ${path} is another one than broadcast ${id} of this store: the backup is of another store, or of another course of events`,
    'restore it into an empty store: name another one in FIELDSEAL_FLEET, or move private/fleet.sqlite away',
  );
}

/** Adds a wave that the store does not have. */
export async function restoreWave(core: Core, facts: WaveFacts): Promise<void> {
  await core.write(({ db }) =>
    db
      .insertInto('waves')
      .values(facts)
      .onConflict((conflict) => conflict.columns(['broadcast', 'number']).doNothing())
      .execute(),
  );
}

/** Adds how units stood that were taken over, where nothing is known of it. */
export async function restoreLeft(core: Core, { broadcast, wave, ...facts }: LeftFacts): Promise<void> {
  await core.write(async ({ db }) => {
    const { no } = await db
      .selectFrom('waves')
      .select('no')
      .where('broadcast', '=', broadcast)
      .where('number', '=', wave)
      .executeTakeFirstOrThrow();
    await db
      .insertInto('left_cells')
      .values({ wave_no: no, ...facts })
      .onConflict((conflict) =>
        conflict.columns(['wave_no', 'state', 'refusal_step', 'refusal_code']).doNothing(),
      )
      .execute();
  });
}
