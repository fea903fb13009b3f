import { toHex } from '../bytes/index.ts';
import {
  type Capabilities,
  outcomeTold,
  type PropertyClaim,
  SECTIONS,
  type SuitRecord,
  type SuitReport,
} from '../report/index.ts';
import { formatUuid, PARAMETERS, type Parameters } from '../suit/index.ts';
import type { Output } from './output.ts';
import { plain, refusalJson } from './show-verdict.ts';

/** What a report says, for programs. */
export function reportJson(report: SuitReport): object {
  const { reference, nonce, records, result, capabilities } = report;
  const told = outcomeTold(report);
  return {
    result: told.result,
    reason: told.reason,
    says: told.says,
    refusal: refusalJson(told.refusal),
    result_code: result === true ? null : result.code,
    record: result === true ? null : recordJson(result.record),
    reference: { uri: reference.uri, manifest_digest: toHex(reference.digest.bytes) },
    nonce: nonce ? toHex(nonce) : null,
    records: records.filter((each) => each.kind === 'record').map(recordJson),
    measured: records.filter((each) => each.kind === 'claim').map(claimJson),
    capabilities: capabilities ? capabilitiesJson(capabilities) : null,
  };
}

/** What a report says, for people. */
export function showReport(out: Output, report: SuitReport): void {
  const { reference, result } = report;
  const told = outcomeTold(report);
  out.line(out.paint.bold(`${told.result}: ${told.says}`));
  if (told.reason !== null) out.fact('reason', told.reason);
  if (told.refusal) {
    out.fact('refused with', `${told.refusal.code}, step ${told.refusal.step}`);
    out.line(`  ${out.paint.dim('means')}  ${told.refusal.meaning}`);
    out.line(`  ${out.paint.dim('next ')}  ${told.refusal.next}`);
  }
  out.fact('manifest', reference.digest.bytes.length > 0 ? toHex(reference.digest.bytes) : 'none to name');
  if (reference.uri !== '') out.fact('reference URI', plain(reference.uri));
  if (result !== true && result.record.section !== 0) out.fact('at', recordText(result.record));
  for (const each of report.records) {
    if (each.kind === 'record') out.fact('also at', recordText(each));
    else out.fact('measured', propertiesText(each.properties));
  }
}

function recordText({ section, offset, component, properties }: SuitRecord): string {
  const name = SECTIONS.get(section)?.name ?? `section ${section}`;
  const actual = properties.size > 0 ? `; the unit has ${propertiesText(properties)}` : '';
  return `${name}, byte ${offset}, component ${component}${actual}`;
}

function propertiesText(properties: Parameters): string {
  return Object.entries(propertiesJson(properties))
    .map(([name, value]) => `${name.replaceAll('_', ' ')} ${plain(String(value))}`)
    .join(', ');
}

function recordJson({ manifestId, section, offset, component, properties }: SuitRecord): object {
  return {
    manifest_id: manifestId,
    section,
    section_name: SECTIONS.get(section)?.name ?? null,
    offset,
    component,
    properties: propertiesJson(properties),
  };
}

function claimJson({ component, properties }: PropertyClaim): object {
  return { component: component.map(toHex), properties: propertiesJson(properties) };
}

/** Parameters by their names in the draft, without the word parameter. */
function propertiesJson(properties: Parameters): Record<string, string | number | boolean> {
  return Object.fromEntries(
    [...properties].map(([code, value]) => [nameOf(code), valueJson(code, value)]),
  ) as Record<string, string | number | boolean>;
}

function nameOf(code: number): string {
  const name = PARAMETERS.get(code)?.name ?? `parameter-${code}`;
  return name.replace(/^parameter-/, '').replaceAll('-', '_');
}

const UUIDS: ReadonlySet<number> = new Set([1, 2, 24]);

function valueJson(code: number, value: unknown): unknown {
  if (value instanceof Uint8Array) return UUIDS.has(code) ? formatUuid(value) : toHex(value);
  if (typeof value === 'bigint') return String(value);
  if (typeof value !== 'object' || value === null) return value;
  if ('bytes' in value) return toHex(value.bytes as Uint8Array);
  return 'pen' in value ? toHex(value.pen as Uint8Array) : JSON.stringify(value);
}

function capabilitiesJson({ components, lists }: Capabilities): object {
  return {
    components: components.map(({ identifier, prefix }) => ({ identifier: identifier.map(toHex), prefix })),
    lists: lists.map(({ key, codes }) => ({ key, codes })),
  };
}
