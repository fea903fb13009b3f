/** A workspace with a sealed release, a fleet in a real store, a depot, and a steering under a clock that tests set. */
import { mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { announcementNames, Depot } from '../../src/broadcast/index.ts';
import { toHex } from '../../src/bytes/index.ts';
import {
  type BroadcastPlan,
  begin,
  currentBroadcast,
  type FleetStore,
  openFleet,
  planFromText,
  Steering,
  type SteeringPorts,
  type UnitReport,
} from '../../src/fleet/index.ts';
import { deviceId } from '../../src/provision/index.ts';
import { seal } from '../../src/release/index.ts';
import { formatUuid } from '../../src/suit/index.ts';
import { type DeviceClass, keyPaths, readClass, type Workspace } from '../../src/workspace/index.ts';
import { secrets } from '../release/secrets.ts';
import { makeSigner, prepared, request } from '../release/setup.ts';
import { PLAN_YAML } from './plans.ts';

export interface Field {
  readonly workspace: Workspace;
  readonly vent: DeviceClass;
  readonly store: FleetStore;
  readonly storePath: string;
  readonly depot: Depot;
  readonly envelope: string;
  readonly digest: string;
  readonly plan: BroadcastPlan;
  /** Hours since the broadcast began. */
  clock: { hours: number };
  device(serial: number): string;
}

const serialOf = (nth: number) => String(nth).padStart(4, '0');

/** Units 0001 to `units`, none of which said anything yet. */
export async function field(units = 40, yaml = PLAN_YAML, className = 'vent'): Promise<Field> {
  const clock = { hours: 0 };
  // From now on: certificates are made by the clock of this machine.
  const began = Date.now() + 1000;
  const now = () => new Date(began + clock.hours * 3_600_000);
  const made = await prepared({ now });
  await makeSigner(made.workspace, 'ann-1', { signs: 'announcement' });
  const { json } = await seal(request(made, { className }));
  const vent = await readClass(made.workspace, className);
  const storePath = join(mkdtempSync(join(tmpdir(), 'fieldseal-waves-')), 'fleet.sqlite');
  const store = await openFleet(storePath, { now });
  const class_ids = vent.classIds.map(formatUuid);
  const device = (nth: number) => deviceId({ class_ids }, serialOf(nth)).replaceAll('-', '');
  await store.importUnits(
    Array.from({ length: units }, (_, i) => ({
      classId: toHex(vent.classId),
      device: device(i + 1),
      serial: serialOf(i + 1),
      hardware: 'A',
    })),
  );
  return {
    ...{ workspace: made.workspace, vent, store, storePath, clock, device },
    depot: new Depot(join(made.folder, 'depot')),
    envelope: join(made.folder, 'vent.suit'),
    digest: String(json.manifest_digest),
    // A share that draws somebody of so few units, whatever the lot.
    plan: await planFromText(
      yaml.replace('share: 50', 'share: 400').replace('class: vent', `class: ${className}`),
      'waves.yaml',
    ),
  };
}

/** Begins the broadcast of the sealed release. */
export function begun({ workspace, store, vent, plan, depot, envelope }: Field) {
  return begin({
    ...{ workspace, store, deviceClass: vent, plan, depot, envelope },
    steppingStones: [],
    images: [],
    who: 'ada',
  });
}

export function steering(
  { workspace, store, vent, depot }: Field,
  holder = 'one',
  more: Partial<SteeringPorts> = {},
): Steering {
  return new Steering({
    ...{ workspace, store, deviceClass: vent, depot, holder, leaseSeconds: 60 },
    herald: undefined,
    signerName: undefined,
    accessTo: (name) => ({ file: keyPaths(workspace, name).secret, secrets, production: false }),
    ...more,
  });
}

/** What lies in the depot for units now. */
export function announced({ workspace, vent, depot }: Field) {
  const [name] = announcementNames(workspace, vent);
  return depot.announced(name!)?.announcement;
}

/** Reports of units by their numbers; each bears its own age, so later ones are newer. */
let age = 100;
export async function report(
  at: Field,
  outcome: 'success' | 'pending' | 'refused' | 'fell-back',
  numbers: readonly number[],
): Promise<void> {
  age += 1;
  const failed = {
    refused: { step: 'identity', code: 'class-other' },
    'fell-back': { step: 'start', code: 'x' },
  };
  await at.store.takeReports(
    numbers.map(
      (nth): UnitReport => ({
        classId: toHex(at.vent.classId),
        device: at.device(nth),
        id: `${nth}.${age}`.padStart(64, '0').replace('.', 'a'),
        at: at.workspace.now(),
        age,
        manifestDigest: at.digest,
        outcome: outcome === 'success' || outcome === 'pending' ? outcome : 'failed',
        ...(outcome in failed && { refusal: failed[outcome as keyof typeof failed] }),
        raw: new Uint8Array([age]),
      }),
    ),
  );
}

export async function standing(at: Field) {
  const broadcast = await currentBroadcast(at.store, at.vent);
  return { broadcast, waves: await at.store.waves(broadcast.id) };
}

/** Units of a wave, by their numbers. */
export async function unitsOf(at: Field, wave: number): Promise<number[]> {
  const numbers: number[] = [];
  for await (const unit of at.store.exportUnits())
    if (unit.wave?.number === wave) numbers.push(Number(unit.serial));
  return numbers;
}

/** Puts the depot back as it was, as if a process had been killed before it wrote there. */
export function depotCopy({ workspace, vent, depot }: Field): { back(): void } {
  const [name] = announcementNames(workspace, vent);
  const path = join(depot.folder, 'a', name!);
  const before = readFileSync(path);
  return { back: () => writeFileSync(path, before) };
}
