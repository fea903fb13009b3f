import { randomBytes } from '../../../crypto/index.ts';
import type { DeviceClass, JsonObject, Workspace } from '../../../workspace/index.ts';
import { recordedUnits } from '../../intake/recorded-units.ts';
import type { FleetStore } from '../../store/types.ts';
import { WavesError } from '../error.ts';
import type { BroadcastPlan } from '../plan/plan.ts';
import { LOT_LENGTH } from './course.ts';
import { type Preview, previewOf } from './preview.ts';

/** A plan as it meets the fleet. */
export interface Judgement {
  readonly preview: Preview;
  /** Why `begin` would refuse it; undefined where it would not. */
  readonly refused: WavesError | undefined;
}

/**
 * Judges a plan against the fleet, once units on record are put into it; nothing is begun. Its shares are drawn by a lot of their own
 * when it begins, so they hold about so many. Throws `WavesError` plan-other-class.
 */
export async function judgePlan(
  workspace: Workspace,
  store: FleetStore,
  deviceClass: DeviceClass,
  plan: BroadcastPlan,
): Promise<Judgement> {
  requireClass(plan, deviceClass);
  await store.importUnits(recordedUnits(workspace));
  const preview = await previewOf(store, deviceClass, { plan, lot: randomBytes(LOT_LENGTH) });
  return { preview, refused: pilotFault(plan, preview) };
}

/** A judgement for programs. */
export function judgementJson(plan: BroadcastPlan, { preview, refused }: Judgement): JsonObject {
  const { units, waves, beyond, unpiloted, missing } = preview;
  return {
    format: 'fieldseal.broadcast-preview/1',
    class: plan.className,
    units,
    waves: waves.map(({ name, units: held }, i) => ({
      name,
      units: held,
      share: plan.waves[i]!.share || null,
    })),
    in_no_wave: beyond,
    unpiloted_hardware: [...unpiloted],
    not_in_fleet: [...missing],
    stepping_stones: [...plan.steppingStones],
    refused: refused ? { code: refused.code, message: refused.message, hint: refused.hint } : null,
  };
}

/** Throws `WavesError` plan-other-class. */
export function requireClass({ className }: BroadcastPlan, { name }: DeviceClass): void {
  if (className === name) return;
  throw new WavesError(
    'plan-other-class',
    `the plan is for class ${className}, not for ${name}`,
    'give the plan of this class, or change the line class: in it',
  );
}

/** What a pilot lacks, so that nothing begins with it. */
export function pilotFault(
  { waves }: BroadcastPlan,
  { unpiloted, waves: held }: Preview,
): WavesError | undefined {
  if (held[0]!.units === 0)
    return new WavesError(
      'pilot-empty',
      `no unit of the fleet is in the pilot, wave ${waves[0]!.name}: nothing would be learnt before the next wave`,
      'name units that are in the fleet store: fieldseal fleet find',
    );
  if (unpiloted.length === 0) return undefined;
  return new WavesError(
    'pilot-hardware',
    `no unit of hardware revision ${unpiloted.join(', ')} is in the pilot; what goes wrong there would be learnt from the fleet`,
    'add one to the pilot; where there is none that you could watch, say so in the plan: unpiloted_hardware',
  );
}
