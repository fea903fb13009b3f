import { toHex } from '../bytes/index.ts';
import type { FleetCounts, FleetEvent, FleetUnit, HistoryEntry } from '../fleet/index.ts';
import { type JsonObject, listClasses, readClass, type Workspace } from '../workspace/index.ts';

/** Names of the workspace's classes by their identifiers, 32 hexadecimal digits. */
export type ClassNames = ReadonlyMap<string, string>;

/** The classes of a workspace by every identifier that their units may have. */
export async function classNames(workspace: Workspace): Promise<ClassNames> {
  const classes = await Promise.all(listClasses(workspace).map((name) => readClass(workspace, name)));
  return new Map(
    classes.flatMap(({ name, classId, classIds }) =>
      [...classIds, classId].map((id) => [toHex(id), name] as const),
    ),
  );
}

/** A unit of the fleet as lists show it; a class that the workspace does not have keeps its identifier. */
export function fleetUnitJson(unit: FleetUnit, names: ClassNames): JsonObject {
  const { classId, device, serial, group, hardware, version, sequence, digest } = unit;
  const { state, refusal, lastHeard, wave, attestation, tags } = unit;
  return {
    class: names.get(classId) ?? null,
    class_id: classId,
    device,
    serial: serial ?? null,
    cohort: group ?? null,
    hardware: hardware ?? null,
    version: version ?? null,
    sequence_number: sequence === undefined ? null : String(sequence),
    manifest_digest: digest ?? null,
    state,
    refusal: refusal ? { step: refusal.step, code: refusal.code } : null,
    last_heard: lastHeard?.toISOString() ?? null,
    wave: wave ? { broadcast: wave.broadcast, number: wave.number } : null,
    attestation: attestation ? { verdict: attestation.verdict, at: attestation.at.toISOString() } : null,
    tags: { ...tags },
  };
}

/** How many units stand where. */
export function fleetCountsJson(counts: FleetCounts, names: ClassNames): JsonObject {
  return {
    units: counts.units,
    by_class: counts.byClass.map(({ classId, units }) => ({
      class: names.get(classId) ?? null,
      class_id: classId,
      units,
    })),
    by_state: { ...counts.byState },
    by_version: counts.byVersion.map(({ version, units }) => ({ version: version ?? null, units })),
    by_refusal: counts.byRefusal.map(({ step, code, units }) => ({ step, code, units })),
  };
}

/** Something in the history of a unit. */
export function historyJson(entry: HistoryEntry): JsonObject {
  const at = entry.at.toISOString();
  if (entry.kind === 'event') return { kind: 'event', at, who: entry.who, text: entry.text };
  if (entry.kind === 'attestation')
    return {
      kind: 'attestation',
      at,
      answer_sha256: entry.id,
      verdict: entry.verdict,
      refusal: entry.refusal ?? null,
    };
  const { id, outcome, refusal, version, sequence, manifestDigest, raw } = entry;
  return {
    kind: 'report',
    at,
    report_sha256: id,
    outcome,
    refusal: refusal ? { step: refusal.step, code: refusal.code } : null,
    version: version ?? null,
    sequence_number: sequence === undefined ? null : String(sequence),
    manifest_digest: manifestDigest ?? null,
    size_bytes: raw.length,
  };
}

/** An entry of the fleet's journal. */
export function fleetEventJson({ seq, at, kind, wave, who, text }: FleetEvent): JsonObject {
  return { number: seq, at: at.toISOString(), kind, wave: wave ?? null, who, text };
}
