/** One row of the table of forgeries, and the ways in which most of them are made. */
import { REFUSALS, type StepName } from '../../unit/index.ts';
import type { BlockChanges } from './blocks.ts';
import type { Draft } from './draft.ts';
import type { Field } from './field.ts';
import { type Awaited, BEYOND_REFUSALS, type Heard } from './heard.ts';
import type { Asked, Lab, Party } from './lab.ts';
import { type Offer, type Parts, putTogether } from './parts.ts';
import type { PlaceName } from './places.ts';
import type { Sealing } from './seals.ts';
import type { ThreatName } from './threats.ts';

/** Who was asked. `sealing`: nothing reaches a unit, for sealing itself says no. */
export type Against = 'unit' | 'stand-in' | 'sealing';

/** One forgery. */
export interface Forgery {
  /** In plain words; no two rows share one. */
  readonly name: string;
  readonly threat: ThreatName;
  /** How it is made from the real payload. */
  readonly built: string;
  /** Everything that must be given for it to apply. */
  readonly where?: readonly PlaceName[];
  /** The one refusal with which it must fall; its step is the step at which it must fall. */
  readonly refusal: Awaited;
  readonly attack: Attack;
}

/** How a forgery is made and offered. */
export interface Attack {
  readonly against: Against;
  /** Makes it and offers it. `party`: the real unit with the real payload, or the stand-in with its own. */
  readonly carryOut: (lab: Lab, party: Party) => Promise<Heard> | Heard;
}

/** The step at which a refusal falls. */
export function stepOfRefusal(code: Awaited): StepName | 'seal' {
  const row = REFUSALS.find((each) => each.code === code);
  return row ? row.step : BEYOND_REFUSALS[code as keyof typeof BEYOND_REFUSALS];
}

/** The envelope as it travels, with its bytes changed: anybody can do that. */
export function changed(change: (envelope: Uint8Array, party: Party) => Uint8Array): Attack {
  return onUnit((party) => ({ ...party.offer, envelope: change(party.offer.envelope, party) }));
}

/** The envelope taken apart and put together with other parts, not sealed again: anybody can do that. */
export function dismantled(
  change: (parts: Parts, lab: Lab) => Partial<Parts> | Promise<Partial<Parts>>,
): Attack {
  return onUnit(async ({ parts, offer }, lab) => ({
    ...offer,
    envelope: putTogether({ ...parts, ...(await change(parts, lab)) }),
  }));
}

/** What a unit is offered in place of its payload, by somebody without any key of its makers. */
export function onUnit(
  change: (party: Party, lab: Lab) => Offer | Promise<Offer>,
  asked: Asked = {},
): Attack {
  return {
    against: 'unit',
    carryOut: async (lab, party) => party.ask(await change(party, lab), asked),
  };
}

/** The payload itself, which was good once, to a unit that remembers or knows something else by now. */
export function later(asked: (party: Party, lab: Lab) => Asked): Attack {
  return { against: 'unit', carryOut: (lab, party) => party.ask(party.offer, asked(party, lab)) };
}

/** The manifest changed and sealed again by the throwaway authority: what a stolen key is worth. */
export function resealed(
  change: (draft: Draft, lab: Lab) => void | Promise<void>,
  changes: BlockChanges = {},
  asked: Asked = {},
): Attack {
  return {
    against: 'stand-in',
    carryOut: async (lab) => {
      const draft = lab.draft();
      await change(draft, lab);
      return lab.askStandIn(await lab.seal(draft, changes), asked);
    },
  };
}

/** The manifest as it is, under other blocks of the throwaway authority. */
export function sealedWith(
  seal: (lab: Lab) => Sealing | Promise<Sealing>,
  asked: (lab: Lab) => Asked = () => ({}),
): Attack {
  return {
    against: 'stand-in',
    carryOut: async (lab) =>
      lab.askStandIn(await lab.sealParts(lab.unsealed.parts, await seal(lab)), asked(lab)),
  };
}

/** The manifest as it is, its bytes changed and then sealed by the throwaway authority. */
export function resealedBytes(change: (manifest: Uint8Array, lab: Lab) => Uint8Array): Attack {
  return {
    against: 'stand-in',
    carryOut: async (lab) => {
      const { parts } = lab.unsealed;
      return lab.askStandIn(await lab.sealParts({ ...parts, manifest: change(parts.manifest, lab) }));
    },
  };
}

/** What is done to the stand-in’s own flash, between what it verified and what it runs. */
export function onField(carryOut: (field: Field, lab: Lab) => Heard | Promise<Heard>): Attack {
  return { against: 'stand-in', carryOut: (lab) => carryOut(lab.field, lab) };
}
