import { toHex } from '../../../bytes/index.ts';
import type { DeviceClass, Workspace } from '../../../workspace/index.ts';
import { recordedUnits } from '../../intake/recorded-units.ts';
import type { FleetStore } from '../../store/types.ts';
import { type PilotUnit, planYaml } from './yaml.ts';

/** Of one hardware revision a plan to begin from names no more. */
const PILOT_UNITS = 1;

/** A plan to begin from, as text: units on record are put into the fleet, and its pilot names one of each hardware revision. */
export async function draftPlan(
  workspace: Workspace,
  store: FleetStore,
  deviceClass: DeviceClass,
): Promise<string> {
  await store.importUnits(recordedUnits(workspace));
  return planYaml(deviceClass.name, await pilotOf(store, deviceClass));
}

async function pilotOf(store: FleetStore, { classId }: DeviceClass): Promise<PilotUnit[]> {
  const pilot: PilotUnit[] = [];
  for await (const { classId: of, serial, hardware } of store.exportUnits()) {
    if (of !== toHex(classId) || serial === undefined) continue;
    if (pilot.filter((unit) => unit.hardware === hardware).length < PILOT_UNITS)
      pilot.push({ serial, hardware });
  }
  return pilot;
}
