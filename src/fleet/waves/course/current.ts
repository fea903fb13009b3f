import { toHex } from '../../../bytes/index.ts';
import type { DeviceClass } from '../../../workspace/index.ts';
import type { Broadcast, FleetStore } from '../../store/types.ts';
import { WavesError } from '../error.ts';

/** The newest broadcast of a class: the one that is announced. Throws `WavesError` no-broadcast. */
export async function currentBroadcast(
  store: FleetStore,
  { name, classId }: DeviceClass,
): Promise<Broadcast> {
  const [broadcast] = await store.broadcasts({ classId: toHex(classId) });
  if (broadcast) return broadcast;
  throw new WavesError(
    'no-broadcast',
    `nothing was broadcast to class ${name} yet`,
    `begin: fieldseal broadcast plan ${name} --out waves.yaml; then broadcast begin`,
  );
}
