import { imagesOf, type Offered } from '../../../broadcast/index.ts';
import type { DeviceClass, Workspace } from '../../../workspace/index.ts';
import { WavesError } from '../error.ts';
import type { BroadcastPlan } from '../plan/plan.ts';

/** Files that a broadcast sends. */
export interface Sent {
  readonly envelope: string;
  /** The envelopes of the stepping stones that the plan names, in any order. */
  readonly steppingStones: readonly string[];
  /** Images that lie beside any of them. */
  readonly images: readonly string[];
}

interface Numbered {
  readonly sequenceNumber: bigint;
}

/**
 * Makes of each release that is sent what `make` makes of its files; stepping stones in the order of the plan. Throws as that does,
 * and `WavesError` stepping-stone.
 */
export async function eachSent<Made extends Numbered>(
  workspace: Workspace,
  deviceClass: DeviceClass,
  plan: BroadcastPlan,
  { envelope, steppingStones, images }: Sent,
  make: (files: Offered) => Promise<Made>,
): Promise<{ offer: Made; steppingStones: Made[] }> {
  const owned = async (each: string) =>
    make({ envelope: each, images: await imagesOf(workspace, deviceClass, each, images) });
  const offer = steppingStones.length === 0 ? await make({ envelope, images }) : await owned(envelope);
  const given: Made[] = [];
  for (const each of steppingStones) given.push(await owned(each));
  return { offer, steppingStones: stonesOf(plan, given, offer) };
}

function stonesOf<Made extends Numbered>(
  { steppingStones }: BroadcastPlan,
  given: readonly Made[],
  offer: Numbered,
): Made[] {
  const spare = given.find(({ sequenceNumber }) => !steppingStones.includes(Number(sequenceNumber)));
  if (spare)
    throw stone(
      `release ${spare.sequenceNumber} is given as a stepping stone, and the plan does not name it`,
    );
  return steppingStones.map((number) => {
    const found = given.find(({ sequenceNumber }) => sequenceNumber === BigInt(number));
    if (!found)
      throw stone(`the plan names release ${number} as a stepping stone, and its envelope is not given`);
    if (found.sequenceNumber >= offer.sequenceNumber)
      throw stone(
        `stepping stone ${number} is not below the release that is offered, ${offer.sequenceNumber}`,
      );
    return found;
  });
}

function stone(says: string): WavesError {
  return new WavesError(
    'stepping-stone',
    says,
    'give the envelope of each one that the plan names (--stepping-stone ENVELOPE at the command line)',
  );
}
