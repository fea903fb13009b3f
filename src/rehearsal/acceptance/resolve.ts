import type { ClassOfUnits } from './classes.ts';
import type { UnitFacts, UnitMistake } from './inventory/facts.ts';
import type { Comparands } from './payload.ts';

type Resolved =
  | { readonly ok: true; readonly facts: UnitFacts }
  | { readonly ok: false; readonly mistake: UnitMistake };

/**
 * Fills in what follows from other facts and from the records of the workspace: the number and digest of what runs, the
 * floors it left, the device identifier and the key id where the payload may ask for them.
 */
export function resolve(facts: UnitFacts, ofClass: ClassOfUnits, payload: Comparands): Resolved {
  const release = releaseOf(facts, ofClass);
  if (facts.version !== undefined && facts.sequence_number === undefined && !release) {
    return mistake('version', 'a version on record, or a sequence number beside it', facts.version);
  }
  const sequence_number = facts.sequence_number ?? release?.sequenceNumber.toString();
  const manifest_digest = facts.manifest_digest ?? release?.manifestDigest;
  if (sequence_number !== undefined && manifest_digest === undefined && isOf(payload, sequence_number)) {
    const expected = 'the digest of what runs: its sequence number is that of the payload';
    return mistake('manifest_digest', expected, 'nothing, and no release of that number on record');
  }
  const other = otherSlot(facts, payload);
  if (other) return { ok: false, mistake: other };
  const { serial } = facts;
  return {
    ok: true,
    facts: {
      ...facts,
      sequence_number,
      manifest_digest,
      sequence_floor: facts.sequence_floor ?? sequence_number,
      security_version: facts.security_version ?? release?.securityVersion.toString(),
      device_id: facts.device_id ?? (payload.namesDevices ? deviceIdOf(facts, ofClass) : undefined),
      decryption_key_id:
        facts.decryption_key_id ?? (payload.encrypted ? ofClass.decryptionKeyIdOf(serial!) : undefined),
    },
  };
}

function releaseOf({ sequence_number, version }: UnitFacts, ofClass: ClassOfUnits) {
  if (sequence_number !== undefined) return ofClass.releaseOf({ sequenceNumber: sequence_number });
  return version === undefined ? undefined : ofClass.releaseOf({ version });
}

function deviceIdOf({ serial, hardware_revision }: UnitFacts, ofClass: ClassOfUnits): string {
  return ofClass.deviceIdOf(serial!, hardware_revision);
}

function otherSlot(facts: UnitFacts, payload: Comparands): UnitMistake | undefined {
  const { other_slot: state, other_sequence_number: number, other_manifest_digest: digest } = facts;
  if (state === undefined || state === 'empty') {
    const told = number ?? digest;
    return told === undefined
      ? undefined
      : wrong('other_slot', 'a state other than empty, or nothing in it', told);
  }
  if (number === undefined)
    return wrong('other_sequence_number', `the number of what is ${state}`, 'nothing');
  if (digest !== undefined || !isOf(payload, number)) return undefined;
  return wrong('other_manifest_digest', 'a digest: the number is that of the payload', 'nothing');
}

function isOf({ sequenceNumber }: Comparands, told: string): boolean {
  return sequenceNumber === undefined || BigInt(told) === sequenceNumber;
}

function wrong(fact: string, expected: string, found: string): UnitMistake {
  return { fact, expected, found };
}

function mistake(fact: string, expected: string, found: string): Resolved {
  return { ok: false, mistake: wrong(fact, expected, found) };
}
