import { broadcastJson, currentBroadcast, type FleetStore, type Order } from '../fleet/index.ts';
import { type DeviceClass, readClass } from '../workspace/index.ts';
import { EXIT } from './exit.ts';
import { openFleetOf } from './fleet.ts';
import { openSession, type Session } from './session.ts';
import { showBroadcast } from './show-broadcast.ts';
import type { Call } from './spec.ts';
import { steeringOf } from './voice.ts';
import { whoOf } from './who.ts';

const ATTEMPTS = 5;

/**
 * Carries out what a person orders, and has it announced: here, where --depot is given and nobody else steers, else by whoever
 * steers.
 */
export async function carryOutOrder(call: Call, order: (order: Order) => Promise<unknown>): Promise<number> {
  const session = await openSession(call);
  const deviceClass = await readClass(session.workspace, call.args[0]!);
  const store = await openFleetOf(session);
  try {
    const now = session.workspace.now();
    await again(async () =>
      order({
        store,
        broadcast: await currentBroadcast(store, deviceClass),
        who: whoOf(call),
        why: call.text('reason')!,
        now,
      }),
    );
    const announced = await spread(call, session, store, deviceClass);
    const json = await broadcastJson(store, deviceClass, await currentBroadcast(store, deviceClass), now);
    showBroadcast(call.out, json);
    call.out.line(SPREAD[announced]);
    call.out.result({ ...json, announced });
    return announced === 'nobody' ? EXIT.incomplete : EXIT.done;
  } finally {
    await store.close();
  }
}

/** What a person orders goes before what the steering does meanwhile. */
async function again(work: () => Promise<unknown>): Promise<void> {
  for (let attempt = 1; ; attempt++) {
    try {
      await work();
      return;
    } catch (error) {
      if (attempt === ATTEMPTS || (error as { code?: unknown }).code !== 'fleet-revision-passed') throw error;
    }
  }
}

/** Who announces it. */
type Spread = 'here' | 'another' | 'nobody';

const SPREAD: Readonly<Record<Spread, string>> = {
  here: 'announced: units hear it when they ask next',
  another: 'whoever steers announces it at its next look',
  nobody:
    'NOT ANNOUNCED: nobody steers this class now, and units are offered what they were offered before; give --depot, or run: fieldseal broadcast steer',
};

async function spread(
  call: Call,
  session: Session,
  store: FleetStore,
  deviceClass: DeviceClass,
): Promise<Spread> {
  if (call.text('depot') !== undefined) {
    const { steering, close } = steeringOf(call, session, store, deviceClass);
    try {
      const look = await steering.look();
      if (look.at === 'steered' && look.lacking)
        call.out.caution(`${look.lacking.message}; ${look.lacking.hint}`);
      if (look.at === 'another') return 'another';
      return look.at === 'steered' && look.lacking && look.state === 'running' ? 'nobody' : 'here';
    } finally {
      await close();
    }
  }
  const json = await broadcastJson(
    store,
    deviceClass,
    await currentBroadcast(store, deviceClass),
    session.workspace.now(),
  );
  return json.steered_by === null ? 'nobody' : 'another';
}
