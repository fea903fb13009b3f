import { codeAreas, formatAddress, formatSize } from '../image/index.ts';
import { formatUuid } from '../suit/index.ts';
import { type SignerRight, selfCheckMemorySize } from '../unit/index.ts';
import type { DeviceClass, Workspace } from '../workspace/index.ts';
import type { Output } from './output.ts';
import { trialMark } from './session.ts';

/** A class for people: identifiers, scheme, memory map. */
export function showClass(out: Output, workspace: Workspace, deviceClass: DeviceClass): void {
  const { memory, name } = deviceClass;
  out.line(`class ${name}: ${deviceClass.model}${trialMark(workspace)}`);
  out.fact('class identifier', deviceClass.classIds.map(formatUuid).join(', '));
  out.fact('vendor identifier', `${formatUuid(workspace.vendorId)}  (${workspace.vendorDomain})`);
  out.fact('scheme', `${deviceClass.scheme}, ${deviceClass.profile.name}`);
  out.fact('encrypted', encryptedText(deviceClass));
  if (deviceClass.policy) out.fact('signatures asked for', deviceClass.policy.text);
  for (const row of deviceClass.rights ?? []) out.fact('a right', rightText(row));
  out.fact('units have a clock', deviceClass.clock ? 'yes' : 'no');
  out.fact('slots', `${memory.shape}, core ${memory.core}`);
  for (const slot of memory.slots) region(out, `  ${slot.name}`, slot);
  if (memory.recovery) region(out, '  recovery', memory.recovery);
  region(out, '  envelopes', memory.envelopes);
  region(out, '  marks', memory.state);
  if (memory.policy) region(out, '  policy', memory.policy);
  if (memory.boot_log) region(out, '  boot log', memory.boot_log);
  if (memory.core === 'cortex-m') region(out, '  RAM', memory.ram);
  out.fact(
    'updates by delta',
    memory.delta_window === undefined ? 'none' : `windows of up to ${formatSize(memory.delta_window)}`,
  );
  const { erase_page, write_unit, erased_value, endurance } = memory.flash;
  out.fact(
    'flash',
    `page ${formatSize(erase_page)}, write unit ${write_unit} B, erased 0x${erased_value.toString(16).padStart(2, '0')}, ${endurance} erase cycles`,
  );
  showComponents(out, deviceClass);
  showAttestation(out, deviceClass);
  for (const range of memory.leave_out) region(out, `left out: ${range.name}`, range);
  for (const caution of deviceClass.cautions) out.caution(caution);
}

/** The further components, each with who makes it, and what this class is to units of others. */
function showComponents(out: Output, { authors, memory, partOf }: DeviceClass): void {
  for (const { name, areas, started } of memory.components ?? []) {
    const author = authors.find(({ components }) =>
      components.some((own) => own === name || name.startsWith(`${own}/`)),
    );
    const what = [started ? 'started with the image' : 'stored only', author && `made by ${author.name}`];
    out.fact(`component ${name}`, what.filter(Boolean).join(', '));
    for (const [i, area] of areas.entries()) region(out, `  area ${i + 1}`, area);
  }
  if (partOf)
    out.fact('part of other units', `as ${partOf.component}, ${partOf.started ? 'started' : 'stored only'}`);
}

function encryptedText({ confidentiality, recipients, profile }: DeviceClass): string {
  if (confidentiality === 'none') return 'nothing';
  const what = confidentiality === 'both' ? 'image and message' : confidentiality;
  return `${what}, ${profile.content.name}, sent to ${recipients === 'class' ? 'the whole class' : `its ${recipients}`}`;
}

function region(out: Output, label: string, { address, size }: { address: number; size: number }): void {
  out.fact(label, `${formatAddress(address)}  ${formatSize(size)}`);
}

function showAttestation(out: Output, { attestation, memory }: DeviceClass): void {
  if (attestation?.regions) out.fact('may be measured', attestation.regions.join(', '));
  const rules = attestation?.self_check;
  if (!rules) return;
  const largest = Math.max(...codeAreas(memory).map(({ size }) => size));
  const round = Math.ceil(largest / rules.slice_bytes) * rules.every_seconds;
  out.fact(
    'self-check',
    `${rules.method}, ${formatSize(rules.slice_bytes)} every ${rules.every_seconds} s, then ${rules.reaction}; ` +
      `a round takes ${round} s and ${selfCheckMemorySize(memory, rules)} B of protected memory`,
  );
}

/** One row of an access control list. */
export function rightText({ role, fingerprint, anchor, components, commands }: SignerRight): string {
  const who = [role, fingerprint && `key ${fingerprint}`, anchor && `under ${anchor}`].filter(Boolean);
  return `${who.join(', ') || 'every signer'}: ${commands?.join(', ') ?? 'every command'} on ${components?.join(', ') ?? 'every component'}`;
}
