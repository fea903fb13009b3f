import type { Classes, ClassOfUnits, UnitFacts, UnitSource } from '../rehearsal/index.ts';
import type { UnitRow } from './store/types.ts';

/** A unit that an inventory tells of and that cannot be entered. */
export interface InventoryMistake {
  readonly line: number;
  readonly fact: string;
  readonly expected: string;
  readonly found: string;
}

const DEVICE = /^[0-9a-f]{8}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{12}$/;
const DIGEST = /^[0-9a-f]{64}$/;
const NUMBER = /^\d{1,19}$/;
const PLAIN = /^\P{Cc}{1,200}$/u;

/**
 * Units of an inventory as the store takes them: what is left out follows from the classes and releases of the workspace. `classIds`:
 * identifiers of classes by name, 32 hexadecimal digits. What cannot be entered is told and left out.
 */
export async function* inventoryRows(
  units: UnitSource,
  classes: Classes,
  classIds: ReadonlyMap<string, string>,
  mistake: (mistake: InventoryMistake) => void,
): AsyncGenerator<UnitRow> {
  for await (const entry of units) {
    const { line } = entry.place;
    const wrong = 'mistake' in entry ? entry.mistake : mistakeIn(entry.facts, classes);
    if (wrong) mistake({ line, ...wrong });
    else yield rowOf(entry.facts, classes.get(entry.facts.class!)!, classIds.get(entry.facts.class!)!);
  }
}

function mistakeIn(facts: UnitFacts, classes: Classes): Omit<InventoryMistake, 'line'> | undefined {
  const expected = (fact: keyof UnitFacts, what: string) => ({
    fact,
    expected: what,
    found: facts[fact] ?? 'nothing',
  });
  if (facts.class === undefined || !classes.has(facts.class))
    return expected('class', `one of ${[...classes.keys()].join(', ')}`);
  if (facts.serial === undefined) return expected('serial', 'a serial number');
  for (const fact of ['serial', 'cohort', 'hardware_revision', 'version'] as const) {
    if (facts[fact] !== undefined && !PLAIN.test(facts[fact]))
      return expected(fact, '1 to 200 characters that can be printed');
  }
  if (facts.device_id !== undefined && !DEVICE.test(facts.device_id)) return expected('device_id', 'a UUID');
  const { sequence_number, manifest_digest } = facts;
  if (sequence_number !== undefined && !(NUMBER.test(sequence_number) && BigInt(sequence_number) < 2n ** 63n))
    return expected('sequence_number', 'a whole number below 2^63');
  if (manifest_digest !== undefined && !DIGEST.test(manifest_digest))
    return expected('manifest_digest', '64 lower-case hexadecimal digits');
  return undefined;
}

function rowOf(facts: UnitFacts, ofClass: ClassOfUnits, classId: string): UnitRow {
  const { serial, cohort, hardware_revision, version, sequence_number, manifest_digest } = facts;
  const release = releaseOf(facts, ofClass);
  const device = facts.device_id ?? ofClass.deviceIdOf(serial!, hardware_revision);
  const sequence = sequence_number === undefined ? release?.sequenceNumber : BigInt(sequence_number);
  return {
    classId,
    device: device.replaceAll('-', ''),
    serial,
    group: cohort,
    hardware: hardware_revision,
    version: version ?? release?.version,
    sequence,
    digest: manifest_digest ?? release?.manifestDigest,
  };
}

function releaseOf({ sequence_number, version }: UnitFacts, ofClass: ClassOfUnits) {
  if (sequence_number !== undefined) return ofClass.releaseOf({ sequenceNumber: sequence_number });
  return version === undefined ? undefined : ofClass.releaseOf({ version });
}
