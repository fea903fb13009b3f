import { hostname } from 'node:os';
import { type Broker, Depot, type Herald, openHerald } from '../broadcast/index.ts';
import { type FleetStore, Steering } from '../fleet/index.ts';
import type { DeviceClass } from '../workspace/index.ts';
import { brokerOf } from './broker.ts';
import { wrongUse } from './exit.ts';
import { heldSecrets } from './held-secrets.ts';
import { accessTo, type Session } from './session.ts';
import type { Call } from './spec.ts';

const USUAL_LEASE = 60;

/** A steering of a class, and the way it speaks. */
export interface Steered {
  readonly steering: Steering;
  close(): Promise<void>;
}

/** The steering that a call describes, with the depot that --depot names. */
export function steeringOf(
  call: Call,
  session: Session,
  store: FleetStore,
  deviceClass: DeviceClass,
): Steered {
  const broker = brokerOf(call);
  const herald = broker && heraldAt(broker);
  const held = { ...session, secrets: heldSecrets(session.secrets) };
  const steering = new Steering({
    workspace: session.workspace,
    store,
    deviceClass,
    depot: new Depot(call.text('depot')!),
    herald,
    signerName: call.text('signer'),
    accessTo: (name) => accessTo(held, name, call.text('module')),
    holder: `${hostname()} process ${process.pid}`,
    leaseSeconds: leaseOf(call),
  });
  return {
    steering,
    async close() {
      await steering.close();
      await herald?.close();
    },
  };
}

/** Reached when it is needed, and anew after a failure: waves are steered on where the broker is gone. */
function heraldAt(broker: Broker): Herald {
  let open: Herald | undefined;
  const close = async () => {
    await open?.close();
    open = undefined;
  };
  return {
    async publish(...message) {
      open ??= await openHerald(broker);
      try {
        await open.publish(...message);
      } catch (error) {
        await close();
        throw error;
      }
    },
    close,
  };
}

function leaseOf(call: Call): number {
  const seconds = call.count('lease') ?? USUAL_LEASE;
  if (seconds > 0) return seconds;
  throw wrongUse('--lease 0: the right to steer would lapse at once', 'for example --lease 60');
}
