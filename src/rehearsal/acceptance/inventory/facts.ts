/**
 * What an inventory may say of a unit, as texts. Only serial and class must be there: what is left out is as production
 * would leave it today.
 */
export const FACT_NAMES = [
  'serial',
  'class',
  'hardware_revision',
  'device_id',
  'profile',
  'cohort',
  'clock',
  'trial',
  'debug',
  'marks',
  'anchors',
  'denied_signers',
  'decryption_key_id',
  'version',
  'sequence_number',
  'manifest_digest',
  'running_slot',
  'other_slot',
  'other_sequence_number',
  'other_manifest_digest',
  'fallen_digest',
  'fallen_tries',
  'sequence_floor',
  'security_version',
  'signer_generation',
  'slot_size',
  'envelope_area_size',
  'battery_mwh',
  'link',
] as const;
export type FactName = (typeof FACT_NAMES)[number];

/** One unit as an inventory, or a fleet store, tells it. Absent and empty are the same. */
export type UnitFacts = { readonly [name in FactName]?: string | undefined };

/** Where a unit stands in what was read. */
export interface Place {
  /** Line of a text file, or number of an entry; from 1. */
  readonly line: number;
}

/** A unit, or what stands where one should be and cannot be read. */
export type UnitEntry =
  | { readonly place: Place; readonly facts: UnitFacts }
  | { readonly place: Place; readonly facts: UnitFacts; readonly mistake: UnitMistake };

/** Why a unit cannot be judged: which fact (by its column), what was expected there, and what was found. */
export interface UnitMistake {
  readonly fact: string;
  readonly expected: string;
  readonly found: string;
}

/** Where units come from: an inventory file, or a fleet store. */
export type UnitSource = AsyncIterable<UnitEntry>;
