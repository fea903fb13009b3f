import * as z from 'zod';
import { fromHex } from '../bytes/index.ts';
import { readSoundKey } from '../crypto/index.ts';
import { type ProvisionJob, readJson, UNIT_KEY_PURPOSES } from './job.ts';

/** Format of a result file and its version. */
export const RESULT_FORMAT = 'fieldseal.provision-result/1';

const hex = z.string().regex(/^(?:[0-9a-f]{2})*$/, 'pairs of lower-case hexadecimal digits');
const provisionedUnit = z.strictObject({
  serial: z.string(),
  outcome: z.literal('provisioned'),
  device_id: z.string(),
  /** Read from the unit after the lock and after the overwrite attempt. */
  anchors_read_back: z.array(z.strictObject({ label: z.string(), name: hex, spki: hex })),
  overwrite_attempt: z.strictObject({ attempted: z.boolean(), observed: z.enum(['refused', 'overwritten']) }),
  debug: z.enum(['closed', 'open']),
  unit_keys: z.array(z.strictObject({ purpose: z.enum(UNIT_KEY_PURPOSES), spki: hex })),
  mac_key_check_values: z.array(z.strictObject({ id: hex, check_value: hex })),
  content_key_check_values: z.array(z.strictObject({ id: hex, check_value: hex })).optional(),
  /** SHA-256 of the envelope that was installed, or null where the unit leaves empty. */
  first_envelope_sha256: hex.nullable(),
});
const scrappedUnit = z.strictObject({
  serial: z.string(),
  outcome: z.literal('scrapped'),
  reason: z.string().min(1),
});

const resultSchema = z.strictObject({
  format: z.literal(RESULT_FORMAT),
  batch: z.string(),
  station: z.string(),
  finished: z.iso.datetime(),
  units: z.array(z.discriminatedUnion('outcome', [provisionedUnit, scrappedUnit])),
});

/** What a station brings back. */
export type ProvisionResult = z.infer<typeof resultSchema>;
/** A unit as the station reports it done. */
export type ReportedUnit = z.infer<typeof provisionedUnit>;
type Unit = ProvisionResult['units'][number];

/** Reads a result file. Throws `ProvisionError` result-invalid with the field. */
export function readResult(text: string): ProvisionResult {
  return readJson(resultSchema, text, 'result-invalid', 'result file');
}

/** What became of one unit of a result. `problems` says why a unit stays open. */
export type UnitJudgement =
  | { readonly serial: string; readonly outcome: 'provisioned'; readonly unit: ReportedUnit }
  | { readonly serial: string; readonly outcome: 'scrapped'; readonly reason: string }
  | { readonly serial: string; readonly outcome: 'open'; readonly problems: readonly string[] };

/**
 * Judges what a station reports against what it was asked to do. A unit counts as provisioned only where every value read back is
 * the one that was issued, the overwrite attempt was made and refused, and the debug port is closed. Public keys that
 * two units share are refused: their random sources or their memories are copies.
 */
export function judgeResult(job: ProvisionJob, result: ProvisionResult): UnitJudgement[] {
  const shared = sharedKeys(result.units);
  const seen = new Set<string>();
  const issued = new Set(job.serials);
  return result.units.map((unit) => {
    const repeated = seen.has(unit.serial);
    seen.add(unit.serial);
    if (repeated) return open(unit.serial, ['the serial number is reported twice']);
    if (!issued.has(unit.serial))
      return open(unit.serial, ['the serial number was not issued in this batch']);
    if (unit.outcome === 'scrapped') return { serial: unit.serial, outcome: 'scrapped', reason: unit.reason };
    const problems = [...problemsOf(job, unit, shared)];
    return problems.length === 0
      ? { serial: unit.serial, outcome: 'provisioned', unit }
      : open(unit.serial, problems);
  });
}

function open(serial: string, problems: readonly string[]): UnitJudgement {
  return { serial, outcome: 'open', problems };
}

function sharedKeys(units: readonly Unit[]): ReadonlySet<string> {
  const seen = new Set<string>();
  const shared = new Set<string>();
  for (const unit of units) {
    if (unit.outcome !== 'provisioned') continue;
    for (const { spki } of unit.unit_keys) (seen.has(spki) ? shared : seen).add(spki);
  }
  return shared;
}

function* problemsOf(job: ProvisionJob, unit: ReportedUnit, shared: ReadonlySet<string>): Generator<string> {
  yield* anchorProblems(job, unit);
  if (!unit.overwrite_attempt.attempted) yield 'the lock was not proved: no overwrite was attempted';
  if (unit.overwrite_attempt.observed !== 'refused')
    yield 'the anchor is not locked: it could be overwritten';
  if (unit.debug !== 'closed') yield 'the debug port is open';
  yield* secretKeyProblems(job, unit);
  yield* unitKeyProblems(job, unit, shared);
  if (unit.first_envelope_sha256 !== (job.first?.envelope_sha256 ?? null)) {
    yield 'the first firmware on the unit is not the one that was issued';
  }
}

function* anchorProblems(job: ProvisionJob, unit: ReportedUnit): Generator<string> {
  const text = (anchors: readonly { label: string; name: string; spki: string }[]) =>
    JSON.stringify(anchors.map(({ label, name, spki }) => [label, name, spki]));
  if (text(unit.anchors_read_back) !== text(job.anchors))
    yield 'the anchors read back are not those that were issued';
}

function* secretKeyProblems(job: ProvisionJob, unit: ReportedUnit): Generator<string> {
  const text = (keys: readonly { id: string; check_value: string }[]) =>
    JSON.stringify(keys.map(({ id, check_value }) => [id, check_value]));
  if (text(unit.mac_key_check_values) !== text(job.mac_keys)) yield 'the check values of the MAC keys differ';
  if (text(unit.content_key_check_values ?? []) !== text(job.content_keys ?? []))
    yield 'the check values of the content keys differ';
}

function* unitKeyProblems(
  job: ProvisionJob,
  unit: ReportedUnit,
  shared: ReadonlySet<string>,
): Generator<string> {
  for (const purpose of job.unit_keys) {
    const key = unit.unit_keys.find((row) => row.purpose === purpose);
    if (!key) yield `the unit's ${purpose} key is missing`;
    else if (!readSoundKey(fromHex(key.spki)))
      yield `the unit's ${purpose} key is not a P-256 or Ed25519 public key that somebody can hold`;
    else if (shared.has(key.spki))
      yield `the unit's ${purpose} key is not its own: another key of this batch is the same`;
  }
}
