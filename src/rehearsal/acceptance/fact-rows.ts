import { parseSize } from '../../image/index.ts';
import { UNIT_PROFILES } from '../../unit/index.ts';
import type { ClassOfUnits } from './classes.ts';
import type { FactName } from './inventory/facts.ts';
import type { Comparands } from './payload.ts';

/** How one fact is read, and what a check sees of it. */
export interface FactRow {
  readonly about: string;
  readonly expected: string;
  readonly example: string;
  /** Whether a text is one, for a unit of a class. */
  isOne(text: string, ofClass: ClassOfUnits): boolean;
  /**
   * What this payload's check can tell of it: two texts with the same answer are the same to the check. Undefined where
   * no check looks at it.
   */
  seen?(text: string, payload: Comparands, ofClass: ClassOfUnits): string;
  /** Whether values are counted, so that a group has a lowest and a highest. */
  readonly counts?: boolean;
}

const HEX_32 = /^[0-9a-f]{64}$/;
const DECIMAL = /^(?:0|[1-9][0-9]{0,19})$/;
const UINT32 = /^(?:0|[1-9][0-9]{0,9})$/;
const STATES = ['empty', 'filling', 'ready', 'on trial', 'kept'];

const asItIs = (text: string) => text;
const text = (about: string, example: string): Pick<FactRow, 'about' | 'example' | 'expected' | 'isOne'> => ({
  about,
  example,
  expected: 'text of 1 to 128 characters',
  isOne: (value) => value.length >= 1 && value.length <= 128 && !/\p{Cc}/u.test(value),
});
const oneOf = (about: string, ...values: string[]) => ({
  about,
  example: values[0]!,
  expected: `one of ${values.join(', ')}`,
  isOne: (value: string) => values.includes(value),
});
const digest = (about: string) => ({
  about,
  example: '11'.repeat(32),
  expected: 'a SHA-256 digest, 64 lower-case hexadecimal digits',
  isOne: (value: string) => HEX_32.test(value),
});
const number = (about: string, example: string, pattern = UINT32) => ({
  about,
  example,
  expected: pattern === DECIMAL ? 'a whole number' : 'a whole number below 2^32',
  isOne: (value: string) => pattern.test(value) && BigInt(value) <= (pattern === DECIMAL ? MAX_64 : MAX_32),
  counts: true,
});
const MAX_32 = 0xffff_ffffn;
const MAX_64 = 0xffff_ffff_ffff_ffffn;

/** Where a number stands among some: how many of them it reaches. */
const rank = (value: number, thresholds: readonly number[] | undefined) =>
  thresholds === undefined ? String(value) : String(thresholds.filter((each) => each <= value).length);

/** Below, at or above the number of the payload. */
const beside = (value: string, { sequenceNumber: own }: Comparands) =>
  own === undefined ? value : BigInt(value) < own ? '<' : BigInt(value) > own ? '>' : '=';

const sameDigest = (value: string, { manifestDigest: own }: Comparands) =>
  own === undefined ? value : String(value === own);

const mentioned = (value: string, { mentions }: Comparands) => (mentions(value) ? value : 'not named');

const items = (value: string) => value.split(/\s+/).filter((each) => each !== '');

/** How the size of something compares with what is put into it. */
const size = (about: string, example: string) => ({
  about,
  example,
  expected: 'a size: bytes, or text with a binary unit, such as 256KiB',
  isOne: (value: string) => {
    try {
      return parseSize(value) > 0;
    } catch {
      return false;
    }
  },
  counts: true,
});

/** One row for each fact that an inventory may hold. */
export const FACT_ROWS: Readonly<Record<FactName, FactRow>> = {
  serial: text('serial number', '0001'),
  class: { ...text('class of the workspace', 'vent'), seen: asItIs },
  hardware_revision: { ...text('hardware revision; left out: that of the class', 'B'), seen: asItIs },
  device_id: {
    about: 'device identifier; left out: made of class and serial number, as production makes it',
    example: '0b0f5e0a-3a0e-5b8e-9d5f-3a2d4d8a1c11',
    expected: 'a UUID in lower-case hexadecimal',
    isOne: (value) => /^[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}$/.test(value),
    seen: (value, payload) => mentioned(value.replaceAll('-', ''), payload),
  },
  profile: {
    about: 'algorithm profile by its standard name; left out: that of the class',
    example: 'suit-sha256-esp256-ecdh-a128ctr',
    expected: 'a profile of the scheme of the class',
    isOne: (value, ofClass) =>
      UNIT_PROFILES.some(({ name, scheme }) => name === value && scheme === ofClass.scheme),
    seen: asItIs,
  },
  cohort: {
    about: 'cohort whose keys the unit holds',
    example: 'north',
    expected: 'a cohort of the class that has a key',
    isOne: (value, { cohorts }) => cohorts === undefined || cohorts.includes(value),
    seen: (value, payload, ofClass) =>
      keyIdsOf(ofClass, value)
        .map((id) => mentioned(id, payload))
        .join(' '),
  },
  clock: { ...oneOf('whether the unit has a clock that it trusts', 'yes', 'no'), seen: asItIs },
  trial: { ...oneOf('whether it is a trial unit', 'yes', 'no'), seen: asItIs },
  debug: oneOf('debug port', 'closed', 'open'),
  marks: { ...oneOf('whether the unit can read its own marks', 'readable', 'lost'), seen: asItIs },
  anchors: {
    about: 'roots that the unit trusts, by name or fingerprint; left out: all of the workspace',
    example: 'root spare-root',
    expected: 'names or fingerprints of roots of this workspace',
    isOne: (value, { roots }) =>
      items(value).length > 0 && items(value).every((each) => rootOf(roots, each) !== undefined),
    seen: (value, _, { roots }) =>
      [...new Set(items(value).map((each) => rootOf(roots, each)))].toSorted().join(' '),
  },
  denied_signers: {
    about: 'fingerprints of signers that the unit denies',
    example: '11'.repeat(32),
    expected: 'SHA-256 fingerprints in lower-case hexadecimal',
    isOne: (value) => items(value).every((each) => HEX_32.test(each)),
    seen: (value, { signerKeys }) => {
      const denied = items(value);
      return (signerKeys?.filter((key) => denied.includes(key)) ?? denied).join(' ');
    },
  },
  decryption_key_id: {
    about: 'key id of the unit’s decryption key; left out: that on record',
    example: '0011223344556677',
    expected: '16 lower-case hexadecimal digits',
    isOne: (value) => /^[0-9a-f]{16}$/.test(value),
    seen: (value, { mentions }) => String(mentions(value)),
  },
  version: text('version that runs; finds the sequence number where that is left out', '1.4.0'),
  sequence_number: { ...number('sequence number of what runs', '14', DECIMAL), seen: beside },
  manifest_digest: {
    ...digest('manifest digest of what runs; left out: that on record'),
    seen: (value, payload) => (payload.running.has(value) ? value : sameDigest(value, payload)),
  },
  running_slot: {
    about: 'slot that runs, by name; left out: the first',
    example: 'A',
    expected: 'the name of a slot of the class',
    isOne: (value, { slotNames }) => slotNames.includes(value),
    seen: asItIs,
  },
  other_slot: { ...oneOf('what the other slot holds', ...STATES), seen: asItIs },
  other_sequence_number: { ...number('sequence number of the other slot', '13', DECIMAL), seen: beside },
  other_manifest_digest: { ...digest('manifest digest of the other slot'), seen: sameDigest },
  fallen_digest: { ...digest('manifest digest of a release that fell back'), seen: sameDigest },
  fallen_tries: { ...number('how often it fell back', '1'), seen: asItIs },
  sequence_floor: {
    ...number('lowest sequence number that the unit takes; left out: that of what runs', '14', DECIMAL),
    seen: beside,
  },
  security_version: {
    ...number('lowest security version that the unit takes; left out: that of what runs', '2'),
    seen: (value, { securityFloors }) => rank(Number(value), securityFloors),
  },
  signer_generation: {
    ...number('lowest signer generation that the unit takes; left out: that of the class', '1'),
    seen: (value, { generations }) =>
      rank(
        Number(value),
        generations?.map((each) => each + 1),
      ),
  },
  slot_size: {
    ...size('size of each slot; left out: those of the class', '256KiB'),
    seen: (value, { sizes }) => rank(parseSize(value), sizes),
  },
  envelope_area_size: {
    ...size('size of the area that keeps envelopes; left out: that of the class', '16KiB'),
    seen: (value, { envelopeSize }) => {
      const room = Math.floor(parseSize(value) / 2);
      return room >= envelopeSize ? 'ample' : String(room);
    },
  },
  battery_mwh: number('energy left in the cell, mWh', '4200'),
  link: text('link over which the unit is reached', 'lorawan-eu-dr0'),
};

function keyIdsOf(ofClass: ClassOfUnits, cohort: string): string[] {
  const { mac_keys, content_keys = [] } = ofClass.recordOf(cohort);
  return [...mac_keys, ...content_keys].map(({ id }) => id);
}

/** The label of a root that is told by label or by fingerprint. */
export function rootOf(roots: ReadonlyMap<string, string>, told: string): string | undefined {
  if (roots.has(told)) return told;
  return [...roots].find(([, fingerprint]) => fingerprint === told)?.[0];
}

/** The items of a list of facts. */
export function itemsOf(value: string | undefined): string[] {
  return value === undefined ? [] : items(value);
}
