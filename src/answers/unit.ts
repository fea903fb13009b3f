import { fromHex, toHex } from '../bytes/index.ts';
import type { TrustState, UnitFile } from '../unit/index.ts';
import type { PoweredUnit } from '../virtual/index.ts';
import { fingerprint } from '../x509/index.ts';
import { numberJson } from './number.ts';

/** Name of the slot that runs, `recovery`, or null for a unit that was not started. */
function runningName({ memory, record }: UnitFile): string | null {
  const { running } = memory;
  return typeof running === 'number' ? record.memory.slots[running]!.name : (running ?? null);
}

function trustJson(trust: TrustState | undefined): object | null {
  if (!trust) return null;
  const { numbers, rank, policy } = trust;
  return {
    rank,
    numbers: { release: numberJson(numbers.release), spare: numberJson(numbers.spare) },
    policy: policy
      ? {
          minimum_generation: policy.minimumGeneration,
          denied: policy.denied,
          retired_roots: policy.retired,
          security_version: policy.securityVersion,
        }
      : null,
  };
}

/** What a unit holds, for programs: anchors, floors, slots, wear, and where its flash lies in the file. */
export function unitJson({ file, unit, flash }: PoweredUnit): object {
  const { record, layout } = file;
  const marks = unit.marks();
  const wear = flash.wear(0, flash.size);
  return {
    format: 'fieldseal.unit-shown/1',
    serial: record.serial,
    class: record.class_name,
    trial: record.trial,
    scheme: record.scheme,
    profile: record.profile,
    vendor_id: record.vendor_id,
    class_ids: record.class_ids,
    device_id: record.device_id,
    authentication: record.authentication ?? null,
    rights: record.rights ?? null,
    debug: record.debug,
    anchors: record.anchors.map(({ label, spki, purpose, author }) => ({
      label,
      fingerprint: fingerprint(fromHex(spki)),
      purpose,
      ...(author && { components: author.components }),
    })),
    trust: trustJson(unit.state()?.trust),
    mac_keys: record.mac_keys.map(({ id, label, cohort }) => ({ id, label, cohort: cohort ?? null })),
    content_keys: (record.content_keys ?? []).map(({ id, label, cohort }) => ({
      id,
      label,
      cohort: cohort ?? null,
    })),
    unit_keys: record.unit_keys.map(({ purpose, spki }) => ({ purpose, spki_hex: spki })),
    slots: record.memory.slots.map(({ name }, index) => {
      const mark = marks?.slots[index];
      const empty = !mark || mark.state === 'empty';
      return {
        name,
        state: mark?.state ?? 'empty',
        sequence_number: empty ? null : numberJson(mark.sequenceNumber),
        manifest_digest: empty ? null : toHex(mark.manifestDigest),
      };
    }),
    running: runningName(file),
    floors: marks && {
      sequence_number: numberJson(marks.floors.sequenceNumber),
      security_version: marks.floors.securityVersion,
      signer_generation: marks.floors.signerGeneration,
    },
    fallen: (marks?.fallen ?? []).map(({ manifestDigest, tries }) => ({
      manifest_digest: toHex(manifestDigest),
      tries,
    })),
    wear: {
      most: wear.reduce((most, count) => Math.max(most, count), 0),
      endurance: record.memory.flash.endurance,
    },
    flash: { offset: layout.flashOffset, size_bytes: flash.size },
    regions: layout.flash.regions.map(({ name, offset, size }) => ({
      name,
      offset: layout.flashOffset + offset,
      size_bytes: size,
    })),
  };
}
