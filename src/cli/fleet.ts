import { toHex } from '../bytes/index.ts';
import { type FleetStore, fleetKept, fleetPlace, openFleet } from '../fleet/index.ts';
import { type DeviceClass, listClasses, readClass, type Workspace } from '../workspace/index.ts';
import { CommandFailure, EXIT } from './exit.ts';
import { openSession, type Session } from './session.ts';
import type { Call } from './spec.ts';

/** The fleet store of the workspace, or the one that the environment names. Throws `FleetError`. */
export function openFleetOf({ workspace }: Pick<Session, 'workspace'>): Promise<FleetStore> {
  return openFleet(fleetPlace(workspace));
}

/** What commands about the fleet work with. */
export interface FleetDesk {
  readonly workspace: Workspace;
  readonly store: FleetStore;
  /** Class identifiers by the names of classes. */
  readonly classIds: ReadonlyMap<string, string>;
  /** Name of a class; its identifier where the workspace has no such class. */
  classNamed(classId: string): string;
}

/** Runs a command on the fleet store of its workspace, and closes the store. */
export async function withFleet(call: Call, use: (desk: FleetDesk) => Promise<number>): Promise<number> {
  const session = await openSession(call);
  const { workspace } = session;
  const store = await openFleetOf(session);
  try {
    const classIds = await classIdsOf(workspace);
    const names = new Map([...classIds].map(([name, id]) => [id, name]));
    return await use({ workspace, store, classIds, classNamed: (id) => names.get(id) ?? id });
  } finally {
    await store.close();
  }
}

/** Identifiers of the workspace's classes, 32 hexadecimal digits, by their names. */
export async function classIdsOf(workspace: Workspace): Promise<ReadonlyMap<string, string>> {
  const classes = await Promise.all(listClasses(workspace).map((name) => readClass(workspace, name)));
  return new Map(classes.map(({ name, classId }) => [name, toHex(classId)]));
}

/** Refuses what would reach units past the waves and stop rules of a broadcast that is under way. Throws `FleetError`. */
export async function requireNoBroadcast(
  workspace: Workspace,
  { name, classId }: DeviceClass,
): Promise<void> {
  const place = fleetKept(workspace);
  if (place === undefined) return;
  const store = await openFleet(place);
  try {
    const [newest] = await store.broadcasts({ classId: toHex(classId) });
    if (!newest || newest.state === 'done' || newest.state === 'halted') return;
    throw new CommandFailure(
      EXIT.refused,
      'broadcast-under-way',
      `broadcast ${newest.id} to class ${name} is ${newest.state}; an announcement beside it would reach units past its waves and its stop rules; nothing was announced`,
      `let it go on, or stop it first: fieldseal broadcast halt ${name} --reason TEXT`,
    );
  } finally {
    await store.close();
  }
}
