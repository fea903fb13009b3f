import type { Kysely } from 'kysely';
import { classIds, findClass, numberClass } from './classes.ts';
import type { Core } from './core.ts';
import { FleetError } from './error.ts';
import { requireDigest } from './require.ts';
import { sequenceText } from './rows.ts';
import type { BroadcastRecord, Tables } from './tables.ts';
import type { Broadcast, BroadcastChange, BroadcastState, Lease, NewBroadcast } from './types.ts';

/** Where a broadcast may go from where it is. What was halted stays so: what follows is a new broadcast. */
const NEXT: Readonly<Record<BroadcastState, readonly BroadcastState[]>> = {
  planned: ['running', 'halted'],
  running: ['paused', 'halted', 'done'],
  paused: ['running', 'halted'],
  // Units that come late may still stop it.
  done: ['paused', 'halted'],
  halted: [],
};
const UNDER_WAY: readonly BroadcastState[] = ['planned', 'running', 'paused'];

/** Makes a broadcast with its waves, all planned. Throws `FleetError` broadcast-under-way, lease-lost. */
export async function createBroadcast(core: Core, made: NewBroadcast, fence?: Lease): Promise<Broadcast> {
  const { classId, release, plan, waves, who } = made;
  requireDigest(release.manifestDigest);
  const classNo = await numberClass(core, classId);
  const id = await core.write(async (tx) => {
    // Taken first: of two who would begin at once the second waits here, and then sees the first one's.
    const number = await tx.nextNumber('broadcast');
    await requireNoneUnderWay(tx.db, classNo);
    await tx.db
      .insertInto('broadcasts')
      .values({
        id: number,
        class_no: classNo,
        manifest_digest: release.manifestDigest,
        sequence: sequenceText(release.sequence),
        version: release.version,
        plan: JSON.stringify(plan),
        state: 'planned',
        why: null,
        revision: 1,
        created_at: tx.now.getTime(),
      })
      .execute();
    for (const wave of waves) {
      await tx.db
        .insertInto('waves')
        .values({
          broadcast: number,
          number: wave.number,
          name: wave.name,
          reach: JSON.stringify(wave.reach),
          state: 'planned',
        })
        .execute();
    }
    const text = `version ${release.version}, sequence number ${release.sequence}, in ${waves.length} waves`;
    await tx.note({ kind: 'broadcast-planned', broadcast: number, who, text });
    return number;
  }, fence);
  return (await readBroadcast(core, id))!;
}

async function requireNoneUnderWay(db: Kysely<Tables>, classNo: number): Promise<void> {
  const other = await db
    .selectFrom('broadcasts')
    .select(['id', 'state'])
    .where('class_no', '=', classNo)
    .where('state', 'in', [...UNDER_WAY])
    .executeTakeFirst();
  if (!other) return;
  throw new FleetError(
    'broadcast-under-way',
    `broadcast ${other.id} of this class is ${other.state}; a second one beside it would cross its waves`,
    'let it end, or halt it first: fieldseal broadcast halt CLASS --reason TEXT',
  );
}

export async function readBroadcast(core: Core, id: number): Promise<Broadcast | undefined> {
  const row = await core.db.selectFrom('broadcasts').selectAll().where('id', '=', id).executeTakeFirst();
  return row && broadcastOf(row, await classIds(core.db));
}

/** Broadcasts of a class, of a state, or all; newest first. */
export async function listBroadcasts(
  { db }: Core,
  of: { classId?: string | undefined; state?: BroadcastState | undefined } = {},
): Promise<Broadcast[]> {
  let found = db.selectFrom('broadcasts').selectAll();
  if (of.classId !== undefined) found = found.where('class_no', '=', (await findClass(db, of.classId)) ?? 0);
  if (of.state !== undefined) found = found.where('state', '=', of.state);
  const classes = await classIds(db);
  return (await found.orderBy('id', 'desc').execute()).map((row) => broadcastOf(row, classes));
}

/** Changes the state of a broadcast. Throws `FleetError` broadcast-not-there, revision-passed, change-not-allowed, lease-lost. */
export async function setBroadcastState(
  core: Core,
  change: BroadcastChange,
  fence?: Lease,
): Promise<Broadcast> {
  const { id, state, why, who, expectedRevision } = change;
  await core.write(async (tx) => {
    const before = await raiseRevision(tx.db, id, expectedRevision);
    if (!NEXT[before.state].includes(state)) {
      throw new FleetError(
        'change-not-allowed',
        `broadcast ${id} is ${before.state} and cannot become ${state}; nothing was changed`,
        NEXT[before.state].length === 0
          ? 'make a new broadcast'
          : `it can become ${NEXT[before.state].join(' or ')}`,
      );
    }
    await tx.db
      .updateTable('broadcasts')
      .set({ state, why: why ?? null })
      .where('id', '=', id)
      .execute();
    const text = why === undefined ? state : `${state}: ${why}`;
    await tx.note({ kind: `broadcast-${state}`, broadcast: id, who, text });
  }, fence);
  return (await readBroadcast(core, id))!;
}

/** Raises the revision of a broadcast by one, where it is the expected one. Gives the broadcast as it was. */
export async function raiseRevision(
  db: Kysely<Tables>,
  id: number,
  expected: number,
): Promise<BroadcastRecord> {
  const { numUpdatedRows } = await db
    .updateTable('broadcasts')
    .set({ revision: expected + 1 })
    .where('id', '=', id)
    .where('revision', '=', expected)
    .executeTakeFirst();
  const now = await db.selectFrom('broadcasts').selectAll().where('id', '=', id).executeTakeFirst();
  if (!now) throw notThere(id);
  if (numUpdatedRows === 1n) return now;
  throw new FleetError(
    'revision-passed',
    `broadcast ${id} was changed meanwhile (revision ${now.revision}, expected ${expected}); nothing was changed`,
    'look at it as it is now, and decide again',
  );
}

export function notThere(id: number): FleetError {
  return new FleetError(
    'broadcast-not-there',
    `there is no broadcast ${id}`,
    'see: fieldseal broadcast status',
  );
}

function broadcastOf(row: BroadcastRecord, classes: ReadonlyMap<number, string>): Broadcast {
  return {
    id: row.id,
    classId: classes.get(row.class_no)!,
    release: { manifestDigest: row.manifest_digest, sequence: BigInt(row.sequence), version: row.version },
    plan: JSON.parse(row.plan) as unknown,
    state: row.state,
    why: row.why ?? undefined,
    revision: row.revision,
    created: new Date(row.created_at),
  };
}
