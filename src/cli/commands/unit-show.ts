import { fromHex, toHex } from '../../bytes/index.ts';
import { prepareRecord } from '../../unit/index.ts';
import { fingerprint, fingerprintText } from '../../x509/index.ts';
import { EXIT } from '../exit.ts';
import { numberJson } from '../number.ts';
import { rightText } from '../show-class.ts';
import type { Call } from '../spec.ts';
import { readUnitSession, type UnitSession } from '../unit-session.ts';

/** Shows what a unit holds. */
export async function run(call: Call): Promise<number> {
  const session = await readUnitSession(call, call.args[0]!);
  try {
    show(call, session);
    call.out.result(unitJson(session));
    return EXIT.done;
  } finally {
    session.close();
  }
}

function show(call: Call, session: UnitSession): void {
  const { file, unit, flash } = session;
  const { record } = file;
  const { out } = call;
  out.line(`unit ${record.serial} of class ${record.class_name}${record.trial ? '  [TRIAL unit]' : ''}`);
  out.fact('scheme', `${record.scheme}, ${record.profile}`);
  out.fact('device identifier', record.device_id);
  const { policy } = prepareRecord(record);
  if (policy) out.fact('signatures asked for', policy.text);
  for (const row of record.rights ?? []) out.fact('a right', rightText(row));
  for (const anchor of record.anchors)
    out.fact(`anchor ${anchor.label}`, fingerprintText(fromHex(anchor.spki)));
  for (const key of record.mac_keys) out.fact(`MAC key ${key.label}`, `id ${key.id}`);
  for (const key of record.content_keys ?? []) out.fact(`content key ${key.label}`, `id ${key.id}`);
  for (const key of record.unit_keys)
    out.fact(`${key.purpose} key`, fingerprint(fromHex(key.spki)).slice(0, 16));
  out.fact('debug port', record.debug);
  const marks = unit.marks();
  if (!marks) out.caution('the marks of this unit cannot be read: it starts nothing but a recovery image');
  for (const [index, slot] of record.memory.slots.entries())
    out.fact(`slot ${slot.name}`, slotText(marks?.slots[index]));
  if (marks) {
    const { sequenceNumber, securityVersion, signerGeneration } = marks.floors;
    out.fact(
      'floors',
      `sequence number ${sequenceNumber}, security version ${securityVersion}, signer generation ${signerGeneration}`,
    );
    for (const { manifestDigest, tries } of marks.fallen)
      out.fact('fell back', `${toHex(manifestDigest)} (${tries} times)`);
  }
  const wear = flash.wear(0, flash.size);
  out.fact(
    'wear',
    `${wear.reduce((most, count) => Math.max(most, count), 0)} erases on the most used page, of ${record.memory.flash.endurance}`,
  );
  out.fact('flash in the file', `offset ${file.layout.flashOffset}, ${flash.size} bytes`);
}

type SlotMark = NonNullable<ReturnType<UnitSession['unit']['marks']>>['slots'][number];

function slotText(mark: SlotMark | undefined): string {
  if (!mark || mark.state === 'empty') return 'empty';
  return `${mark.state}, sequence number ${mark.sequenceNumber}, manifest ${toHex(mark.manifestDigest).slice(0, 16)}...`;
}

/** Name of the slot that runs, `recovery`, or null for a unit that was not started. */
function runningName({ memory, record }: UnitSession['file']): string | null {
  const { running } = memory;
  return typeof running === 'number' ? record.memory.slots[running]!.name : (running ?? null);
}

function unitJson({ file, unit, flash }: UnitSession): object {
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
    anchors: record.anchors.map(({ label, spki }) => ({ label, fingerprint: fingerprint(fromHex(spki)) })),
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
