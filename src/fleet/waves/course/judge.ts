import {
  BroadcastError,
  clearCaution,
  type Offered,
  type Weighed,
  weighOffer,
} from '../../../broadcast/index.ts';
import { toHex } from '../../../bytes/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import type { DeviceClass, JsonObject, Workspace } from '../../../workspace/index.ts';
import { recordedUnits } from '../../intake/recorded-units.ts';
import type { FleetStore } from '../../store/types.ts';
import { WavesError } from '../error.ts';
import type { BroadcastPlan } from '../plan/plan.ts';
import { LOT_LENGTH } from './course.ts';
import { type Preview, previewOf } from './preview.ts';
import { eachSent, type Sent } from './sent.ts';

/** A plan that is to be judged. */
export interface Judged {
  readonly workspace: Workspace;
  readonly store: FleetStore;
  readonly deviceClass: DeviceClass;
  readonly plan: BroadcastPlan;
  /** What is to be sent by it, where that is there already. */
  readonly sent: Sent | undefined;
}

/** A plan as it meets the fleet. */
export interface Judgement {
  readonly preview: Preview;
  /** The release that is to be sent; undefined where none was given, or none that may be. */
  readonly release: Weighed | undefined;
  /** Why `begin` would refuse it; undefined where it would not. */
  readonly refused: WavesError | BroadcastError | undefined;
  /** What the rest does not say, and whoever begins should know. */
  readonly cautions: readonly string[];
}

/**
 * Judges a plan against the fleet, once units on record are put into it, and the files that are to be sent by it; nothing is begun, and
 * nothing put into a depot. Its shares are drawn by a lot of their own when it begins, so they hold about so many. Throws `WavesError`
 * plan-other-class.
 */
export async function judgePlan(asked: Judged): Promise<Judgement> {
  const { workspace, store, deviceClass, plan, sent } = asked;
  requireClass(plan, deviceClass);
  await store.importUnits(recordedUnits(workspace));
  const preview = await previewOf(store, deviceClass, { plan, lot: randomBytes(LOT_LENGTH) });
  const weighed = sent && (await weigh(asked, sent));
  const fault = weighed instanceof Error ? weighed : undefined;
  const clear = sent && clearCaution(deviceClass, sent.envelope);
  return {
    preview,
    release: weighed instanceof Error ? undefined : weighed,
    refused: pilotFault(plan, preview) ?? fault,
    cautions: clear === undefined ? [] : [clear],
  };
}

async function weigh(
  { workspace, deviceClass, plan }: Judged,
  sent: Sent,
): Promise<Weighed | WavesError | BroadcastError> {
  const make = (files: Offered) => weighOffer(workspace, deviceClass, files);
  try {
    return (await eachSent(workspace, deviceClass, plan, sent, make)).offer;
  } catch (error) {
    if (error instanceof WavesError || error instanceof BroadcastError) return error;
    throw error;
  }
}

/** A judgement for programs. */
export function judgementJson(
  plan: BroadcastPlan,
  { preview, release, refused, cautions }: Judgement,
): JsonObject {
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
    release: release
      ? { sequence_number: String(release.sequenceNumber), manifest_digest: toHex(release.manifestDigest) }
      : null,
    cautions: [...cautions],
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
