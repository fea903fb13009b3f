import { type Depot, imagesOf, type Offer, offerOf, releaseOnRecord } from '../../../broadcast/index.ts';
import { toHex } from '../../../bytes/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import type { DeviceClass, Workspace } from '../../../workspace/index.ts';
import { recordedUnits } from '../../intake/recorded-units.ts';
import type { Broadcast, FleetStore, NewBroadcast } from '../../store/types.ts';
import { WavesError } from '../error.ts';
import type { BroadcastPlan } from '../plan/plan.ts';
import { type Course, courseFrom, courseJson, LOT_LENGTH } from './course.ts';
import { pilotFault, requireClass } from './judge.ts';
import { waveOf } from './placing.ts';
import { namedUnits, type Preview, previewOf } from './preview.ts';

/** A release that is to be broadcast. */
export interface NewCourse {
  readonly workspace: Workspace;
  readonly store: FleetStore;
  readonly deviceClass: DeviceClass;
  readonly plan: BroadcastPlan;
  readonly depot: Depot;
  readonly envelope: string;
  /** The envelopes of the stepping stones that the plan names, in any order. */
  readonly steppingStones: readonly string[];
  /** Images that lie beside any of them. */
  readonly images: readonly string[];
  readonly who: string;
}

/** A broadcast that began. */
export interface Begun {
  readonly broadcast: Broadcast;
  readonly preview: Preview;
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
  return { broadcast, preview };
}

async function courseOf(made: NewCourse): Promise<Course> {
  const { plan, deviceClass, envelope, steppingStones, images } = made;
  requireClass(plan, deviceClass);
  const offer = await inDepot(made, envelope, steppingStones.length === 0 ? images : undefined);
  const given: Offer[] = [];
  for (const each of steppingStones) given.push(await inDepot(made, each));
  return {
    plan,
    lot: randomBytes(LOT_LENGTH),
    named: [...namedUnits(deviceClass, plan).values()].sort(),
    offer,
    steppingStones: stonesOf(plan, given, offer),
  };
}

/** `images`: those that were given for it; undefined: whichever belong to it. */
async function inDepot(made: NewCourse, envelope: string, images?: readonly string[]): Promise<Offer> {
  const { workspace, deviceClass, depot } = made;
  const own = images ?? (await imagesOf(workspace, deviceClass, envelope, made.images));
  return offerOf(workspace, deviceClass, depot, { envelope, images: own });
}

function stonesOf({ steppingStones }: BroadcastPlan, given: readonly Offer[], offer: Offer): Offer[] {
  const spare = given.find(({ sequenceNumber }) => !steppingStones.includes(Number(sequenceNumber)));
  if (spare)
    throw stone(
      `release ${spare.sequenceNumber} is given as a stepping stone, and the plan does not name it`,
    );
  return steppingStones.map((number) => {
    const found = given.find(({ sequenceNumber }) => sequenceNumber === BigInt(number));
    if (!found)
      throw stone(`the plan names release ${number} as a stepping stone, and its envelope is not given`);
    if (found.sequenceNumber >= offer.sequenceNumber)
      throw stone(
        `stepping stone ${number} is not below the release that is offered, ${offer.sequenceNumber}`,
      );
    return found;
  });
}

function stone(says: string): WavesError {
  return new WavesError(
    'stepping-stone',
    says,
    'give the envelope of each one that the plan names (--stepping-stone ENVELOPE at the command line)',
  );
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
