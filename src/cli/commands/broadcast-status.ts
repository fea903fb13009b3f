import { toHex } from '../../bytes/index.ts';
import { broadcastJson, currentBroadcast, type FleetStore } from '../../fleet/index.ts';
import { listClasses, readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { openSession, type Session } from '../session.ts';
import { showBroadcast } from '../show-broadcast.ts';
import type { Call } from '../spec.ts';

/** Shows the broadcast of a class, or of each class. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const store = await openFleetOf(session);
  try {
    return call.args[0] === undefined ? await all(call, session, store) : await one(call, session, store);
  } finally {
    await store.close();
  }
}

async function one(call: Call, { workspace }: Session, store: FleetStore): Promise<number> {
  const deviceClass = await readClass(workspace, call.args[0]!);
  const broadcast = await currentBroadcast(store, deviceClass);
  const json = await broadcastJson(store, deviceClass, broadcast, workspace.now());
  showBroadcast(call.out, json);
  call.out.result(json);
  return EXIT.done;
}

async function all(call: Call, { workspace }: Session, store: FleetStore): Promise<number> {
  const broadcasts = [];
  for (const name of listClasses(workspace)) {
    const deviceClass = await readClass(workspace, name);
    const [newest] = await store.broadcasts({ classId: toHex(deviceClass.classId) });
    if (newest) broadcasts.push(await broadcastJson(store, deviceClass, newest, workspace.now()));
  }
  if (broadcasts.length === 0) call.out.line('nothing was broadcast yet');
  for (const [i, json] of broadcasts.entries()) {
    if (i > 0) call.out.line();
    showBroadcast(call.out, json);
  }
  call.out.result({ format: 'fieldseal.broadcasts/1', broadcasts });
  return EXIT.done;
}
