import { fromHex } from '../bytes/index.ts';
import type { FleetUnit } from '../fleet/index.ts';
import { formatUuid } from '../suit/index.ts';
import type { ClassNames } from './fleet.ts';

const COLUMNS: readonly (readonly [string, (unit: FleetUnit, names: ClassNames) => unknown])[] = [
  ['class', ({ classId }, names) => names.get(classId) ?? classId],
  ['serial', ({ serial }) => serial],
  ['device_id', ({ device }) => formatUuid(fromHex(device))],
  ['cohort', ({ group }) => group],
  ['hardware_revision', ({ hardware }) => hardware],
  ['version', ({ version }) => version],
  ['sequence_number', ({ sequence }) => sequence],
  ['manifest_digest', ({ digest }) => digest],
  ['state', ({ state }) => state],
  ['refusal_step', ({ refusal }) => refusal?.step],
  ['refusal', ({ refusal }) => refusal?.code],
  ['heard', ({ lastHeard }) => lastHeard?.toISOString()],
  ['broadcast', ({ wave }) => wave?.broadcast],
  ['wave', ({ wave }) => wave?.number],
  ['attested', ({ attestation }) => attestation?.verdict],
  ['attested_at', ({ attestation }) => attestation?.at.toISOString()],
];
/** What a spreadsheet would take for a formula. */
const FORMULA = /^[=+\-@\t\r]/;

/** Names of the columns, those that inventories have where there is one, as the first line of a file (RFC 4180). */
export const FLEET_CSV_HEAD = line(COLUMNS.map(([name]) => name));

/** A unit as a line of CSV. What a spreadsheet would run gets an apostrophe before it. */
export function fleetCsvLine(unit: FleetUnit, names: ClassNames): string {
  return line(COLUMNS.map(([, value]) => String(value(unit, names) ?? '')));
}

function line(cells: readonly string[]): string {
  return `${cells.map(cell).join(',')}\r\n`;
}

function cell(text: string): string {
  const safe = FORMULA.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}
