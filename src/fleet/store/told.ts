import type { ReportRecord } from './tables.ts';
import type { UnitName, UnitReport } from './types.ts';

/** A report as it is told, but for its unit. */
export function reportOf(row: ReportRecord): Omit<UnitReport, keyof UnitName> {
  return {
    id: row.id,
    at: new Date(row.at),
    age: row.age ?? undefined,
    manifestDigest: row.manifest_digest ?? undefined,
    sequence: row.sequence === null ? undefined : BigInt(row.sequence),
    version: row.version ?? undefined,
    outcome: row.outcome,
    refusal: row.refusal_code === null ? undefined : { step: row.refusal_step!, code: row.refusal_code },
    raw: new Uint8Array(row.raw),
  };
}
