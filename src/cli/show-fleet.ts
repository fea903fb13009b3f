import { toHex } from '../bytes/index.ts';
import type { FleetUnit, HistoryEntry } from '../fleet/index.ts';
import type { FleetDesk } from './fleet.ts';
import type { Output } from './output.ts';

/** A unit for programs. Its facts bear the names that inventories have, so that what was exported can be imported. */
export function unitJson(unit: FleetUnit, { classNamed }: Pick<FleetDesk, 'classNamed'>) {
  const { refusal, lastHeard, wave, attestation } = unit;
  return {
    serial: unit.serial ?? null,
    class: classNamed(unit.classId),
    device_id: uuidOf(unit.device),
    cohort: unit.group ?? null,
    hardware_revision: unit.hardware ?? null,
    version: unit.version ?? null,
    sequence_number: unit.sequence === undefined ? null : String(unit.sequence),
    manifest_digest: unit.digest ?? null,
    state: unit.state,
    refusal: refusal ? `${refusal.step}/${refusal.code}` : null,
    heard: lastHeard?.toISOString() ?? null,
    broadcast: wave?.broadcast ?? null,
    wave: wave?.number ?? null,
    attested: attestation ? `${attestation.verdict}, ${attestation.at.toISOString()}` : null,
  };
}

/** A unit in one line. */
export function unitLine(unit: FleetUnit, { classNamed }: Pick<FleetDesk, 'classNamed'>): string {
  const state = unit.refusal ? `${unit.state}: ${unit.refusal.code}` : unit.state;
  const heard = unit.lastHeard ? `heard ${unit.lastHeard.toISOString().slice(0, 16)}Z` : 'never heard';
  const name = `${classNamed(unit.classId)} ${unit.serial ?? uuidOf(unit.device)}`;
  return `${name}  ${unit.version ?? 'version not known'}  ${state}  ${heard}`;
}

/** A unit with everything that is known of it. */
export function showUnit(out: Output, unit: FleetUnit, desk: Pick<FleetDesk, 'classNamed'>): void {
  const { refusal, wave, lastHeard, attestation } = unit;
  out.line(unitLine(unit, desk));
  out.fact('device', uuidOf(unit.device));
  if (unit.group) out.fact('cohort', unit.group);
  if (unit.hardware) out.fact('hardware', unit.hardware);
  out.fact('runs', unit.version ? `${unit.version}, number ${unit.sequence ?? 'not known'}` : 'not known');
  if (unit.digest) out.fact('manifest', unit.digest);
  out.fact('state', unit.state);
  if (refusal) out.fact('refusal', `${refusal.code}, at ${refusal.step}`);
  out.fact('heard', lastHeard?.toISOString() ?? 'never');
  if (wave) out.fact('broadcast', `${wave.broadcast}, wave ${wave.number}`);
  if (attestation) out.fact('attested', `${attestation.verdict}, ${attestation.at.toISOString()}`);
}

/** An entry of a unit's history for programs. */
export function entryJson(entry: HistoryEntry): object {
  if (entry.kind === 'event') return { ...entry, at: entry.at.toISOString() };
  if (entry.kind === 'attestation')
    return { ...entry, at: entry.at.toISOString(), refusal: entry.refusal ?? null };
  const { kind, id, at, age, manifestDigest, sequence, version, outcome, refusal, raw } = entry;
  return {
    kind,
    at: at.toISOString(),
    id,
    age: age ?? null,
    manifest_digest: manifestDigest ?? null,
    sequence_number: sequence === undefined ? null : String(sequence),
    version: version ?? null,
    outcome,
    refusal: refusal ?? null,
    report: toHex(raw),
  };
}

/** The same for people. */
export function entryLine(entry: HistoryEntry): string {
  const at = `${entry.at.toISOString().slice(0, 19)}Z`;
  if (entry.kind === 'event') return `${at}  ${entry.who}: ${entry.text}`;
  if (entry.kind === 'attestation') return `${at}  attested: ${entry.refusal ?? entry.verdict}`;
  const { outcome, version, refusal } = entry;
  const why = refusal ? `, ${refusal.code} at ${refusal.step}` : '';
  return `${at}  reported ${outcome}: ${version ?? 'a manifest that is not on record'}${why}`;
}

function uuidOf(hex: string): string {
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}
