import {
  clearCaution,
  type Depot,
  type Offered,
  offerOf,
  releaseOnRecord,
} from '../../../broadcast/index.ts';
import { toHex } from '../../../bytes/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import type { DeviceClass, Workspace } from '../../../workspace/index.ts';
import { recordedUnits } from '../../intake/recorded-units.ts';
import type { Broadcast, FleetStore, NewBroadcast } from '../../store/types.ts';
import type { BroadcastPlan } from '../plan/plan.ts';
import { type Course, courseFrom, courseJson, LOT_LENGTH } from './course.ts';
import { pilotFault, requireClass } from './judge.ts';
import { waveOf } from './placing.ts';
import { namedUnits, type Preview, previewOf } from './preview.ts';
import { eachSent, type Sent } from './sent.ts';

/** A release that is to be broadcast. */
export interface NewCourse extends Sent {
  readonly workspace: Workspace;
  readonly store: FleetStore;
  readonly deviceClass: DeviceClass;
  readonly plan: BroadcastPlan;
  readonly depot: Depot;
  readonly who: string;
}

/** A broadcast that began. */
export interface Begun {
  readonly broadcast: Broadcast;
  /** What whoever began it should know. */
  readonly cautions: readonly string[];
}

/**
 * Begins a broadcast: puts units on record into the fleet and the files into the depot, judges the plan against the fleet, and puts every unit into its wave.
 * Nothing is announced yet; the steering does that. Doing it again after it was broken off goes on with what was begun. Throws
 * `WavesError`, `BroadcastError` envelope, image, `FleetError` broadcast-under-way.
 */
export async function begin(made: NewCourse): Promise<Begun> {
  const { store, deviceClass, who } = made;
  await store.importUnits(recordedUnits(made.workspace));
  const course = await courseOf(made);
  const preview = await previewOf(store, deviceClass, course);
  const fault = pilotFault(course.plan, preview);
  if (fault) throw fault;
  const planned =
    (await unfinished(made, course)) ?? (await store.createBroadcast(newBroadcast(made, course)));
  await store.placeUnits(planned.id, waveOf(courseFrom(planned.plan)));
  const { id, revision: expectedRevision } = planned;
  const broadcast = await store.setBroadcastState({
    id,
    expectedRevision,
    state: 'running',
    why: 'begun',
    who,
  });
  return { broadcast, cautions: cautionsOf(made, preview) };
}

function cautionsOf({ deviceClass, envelope }: NewCourse, { missing, beyond }: Preview): string[] {
  const clear = clearCaution(deviceClass, envelope);
  return [
    ...(missing.length > 0 ? [`named in the pilot and not in the fleet: ${missing.join(', ')}`] : []),
    ...(beyond > 0 ? [`${beyond} units are in no wave`] : []),
    ...(clear === undefined ? [] : [clear]),
    'keep a recovery path proved on a real unit; for a product under a safety or approval standard, that standard and qualified practice decide whether, when and by whom it is installed',
  ];
}

async function courseOf(made: NewCourse): Promise<Course> {
  const { workspace, plan, deviceClass, depot } = made;
  requireClass(plan, deviceClass);
  const put = (files: Offered) => offerOf(workspace, deviceClass, depot, files);
  return {
    plan,
    lot: randomBytes(LOT_LENGTH),
    named: [...namedUnits(deviceClass, plan).values()].sort(),
    ...(await eachSent(workspace, deviceClass, plan, made, put)),
  };
}

/** The same release, made before and not begun: its waves and its lot are kept. */
async function unfinished(
  { store, deviceClass }: NewCourse,
  { offer }: Course,
): Promise<Broadcast | undefined> {
  const [newest] = await store.broadcasts({ classId: toHex(deviceClass.classId) });
  const isSame = newest?.release.manifestDigest === toHex(offer.manifestDigest);
  return newest?.state === 'planned' && isSame ? newest : undefined;
}

function newBroadcast({ workspace, deviceClass, who }: NewCourse, course: Course): NewBroadcast {
  const manifestDigest = toHex(course.offer.manifestDigest);
  const record = releaseOnRecord(workspace, deviceClass, manifestDigest);
  return {
    classId: toHex(deviceClass.classId),
    release: {
      manifestDigest,
      sequence: course.offer.sequenceNumber,
      version: String(record?.version ?? `trust update ${course.offer.sequenceNumber}`),
    },
    plan: courseJson(course),
    waves: course.plan.waves.map(({ name, share }, i) => ({
      number: i + 1,
      name,
      reach: share > 0 ? { kind: 'share', permille: share } : { kind: 'units', devices: course.named },
    })),
    who,
  };
}
