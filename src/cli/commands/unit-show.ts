import { unitJson } from '../../answers/index.ts';
import { fromHex, toHex } from '../../bytes/index.ts';
import { prepareRecord, type TrustState } from '../../unit/index.ts';
import { fingerprint, fingerprintText } from '../../x509/index.ts';
import { EXIT } from '../exit.ts';
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
    out.fact(
      `${anchor.purpose === 'spare' ? 'spare anchor' : 'anchor'} ${anchor.label}`,
      fingerprintText(fromHex(anchor.spki)),
    );
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
    const trust = unit.state()?.trust;
    if (trust) out.fact('trust updates', trustText(trust));
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

function trustText({ numbers, policy }: TrustState): string {
  const last = `last number ${numbers.release} below a release root, ${numbers.spare} below a spare one`;
  if (!policy) return `${last}; what it said cannot be read: the unit installs nothing more`;
  const { denied, retired, minimumGeneration } = policy;
  return `${last}; ${denied.length} keys denied, ${retired.length} roots retired, generation ${minimumGeneration} or later`;
}

type SlotMark = NonNullable<ReturnType<UnitSession['unit']['marks']>>['slots'][number];

function slotText(mark: SlotMark | undefined): string {
  if (!mark || mark.state === 'empty') return 'empty';
  return `${mark.state}, sequence number ${mark.sequenceNumber}, manifest ${toHex(mark.manifestDigest).slice(0, 16)}...`;
}
