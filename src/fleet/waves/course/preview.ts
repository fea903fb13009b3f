import { toHex } from '../../../bytes/index.ts';
import { deviceId } from '../../../provision/index.ts';
import { formatUuid } from '../../../suit/index.ts';
import type { DeviceClass } from '../../../workspace/index.ts';
import type { FleetStore } from '../../store/types.ts';
import type { BroadcastPlan } from '../plan/plan.ts';
import type { Course } from './course.ts';
import { waveOf } from './placing.ts';

/** What the waves of a plan hold, as the fleet stands. */
export interface Preview {
  /** Of the class. */
  readonly units: number;
  readonly waves: readonly { readonly name: string; readonly units: number }[];
  /** Units that no wave reaches. */
  readonly beyond: number;
  /** Hardware revisions of the class without a unit in the first wave that the plan does not except. */
  readonly unpiloted: readonly string[];
  /** Serial numbers that the pilot names and the fleet does not have. */
  readonly missing: readonly string[];
}

/** Device identifiers of the units that the pilot names, 32 hexadecimal digits each, by their serial numbers. */
export function namedUnits({ classIds }: DeviceClass, { waves }: BroadcastPlan): ReadonlyMap<string, string> {
  const class_ids = classIds.map(formatUuid);
  const id = (serial: string) => deviceId({ class_ids }, serial).replaceAll('-', '');
  return new Map(waves[0]!.serials.map((serial) => [serial, id(serial)]));
}

/** Goes over the units of a class once; memory does not grow with their number. */
export async function previewOf(
  store: FleetStore,
  deviceClass: DeviceClass,
  { plan, lot }: Pick<Course, 'plan' | 'lot'>,
): Promise<Preview> {
  const named = namedUnits(deviceClass, plan);
  const pilot = new Set(named.values());
  const at = waveOf({ plan, lot, named: [...pilot] });
  const { waves } = plan;
  const units = waves.map(() => 0);
  const all = new Set<string>();
  const piloted = new Set<string>();
  const seen = new Set<string>();
  const own = toHex(deviceClass.classId);
  let beyond = 0;
  for await (const unit of store.exportUnits()) {
    if (unit.classId !== own) continue;
    const number = at(unit.device);
    if (number === undefined) beyond += 1;
    else units[number - 1]! += 1;
    if (unit.hardware !== undefined) all.add(unit.hardware);
    if (number === 1 && unit.hardware !== undefined) piloted.add(unit.hardware);
    if (pilot.has(unit.device)) seen.add(unit.device);
  }
  return {
    units: units.reduce((sum, each) => sum + each, beyond),
    waves: waves.map(({ name }, i) => ({ name, units: units[i]! })),
    beyond,
    unpiloted: [...all].filter((each) => !piloted.has(each) && !plan.unpilotedHardware.includes(each)).sort(),
    missing: [...named].flatMap(([serial, device]) => (seen.has(device) ? [] : [serial])),
  };
}
