import { acceptanceSchema, rehearsalSchema } from '../rehearsal/index.ts';
import type { LedgerEntry, Workspace } from '../workspace/index.ts';
import { EvidenceError } from './error.ts';
import { digestOfFile, type RecordedRelease } from './release.ts';
import type { AcceptanceEvidence, RehearsalEvidence } from './schema.ts';

/** Entries of the ledger about rehearsals of a release. */
export function rehearsalEntries(
  { entry }: RecordedRelease,
  entries: readonly LedgerEntry[],
): readonly LedgerEntry[] {
  return entries.filter(
    ({ kind, facts }) => kind === 'rehearsed' && facts.manifest_digest === entry.facts.manifest_digest,
  );
}

/**
 * Reads what `rehearse --out` wrote. Throws `EvidenceError` evidence-unreadable for anything else, evidence-foreign for the
 * rehearsal of another payload: no evidence for this release.
 */
export function readRehearsal(
  workspace: Workspace,
  path: string,
  release: RecordedRelease,
  entries: readonly LedgerEntry[],
): RehearsalEvidence {
  const read = rehearsalSchema.safeParse(parse(workspace, path));
  if (!read.success) throw unreadable(path, 'a rehearsal, as "fieldseal rehearse --out" writes it');
  const document = read.data;
  requireOwn(path, document.manifest_digest, release);
  const rows = (outcome: 'failed' | 'exposed') =>
    document.rows
      .filter((row) => row.outcome === outcome)
      .map(({ name, because }) => ({ name, because: because ?? 'no reason was given' }));
  const { class: className, serial, swapped } = document.unit;
  return {
    outcome: document.outcome,
    rehearsed: document.rehearsed,
    unit: { class: className, serial, swapped },
    counts: document.counts,
    on_ledger: rehearsalEntries(release, entries).some(
      ({ facts }) =>
        facts.outcome === document.outcome &&
        facts.envelope_sha256 === document.envelope.sha256 &&
        facts.rows === document.counts.rows &&
        facts.passed === document.counts.passed &&
        facts.failed === document.counts.failed,
    ),
    threats: document.threats.map(({ name, passed, failed, exposed, outside }) => ({
      name,
      passed,
      failed,
      exposed,
      outside,
    })),
    failures: rows('failed'),
    exposures: rows('exposed'),
    file_sha256: digestOfFile(path),
  };
}

/**
 * Reads what `rehearse --units --out` wrote: who of an inventory would take the release. Throws `EvidenceError` as
 * `readRehearsal`.
 */
export function readAcceptance(
  workspace: Workspace,
  path: string,
  release: RecordedRelease,
  entries: readonly LedgerEntry[],
): AcceptanceEvidence {
  const read = acceptanceSchema.safeParse(parse(workspace, path));
  if (!read.success) throw unreadable(path, 'an acceptance, as "fieldseal rehearse --units --out" writes it');
  const { outcome, rehearsed, manifest_digest, counts, groups, remedies, inventory } = read.data;
  requireOwn(path, manifest_digest, release);
  const { units, accepted, not_judged_to_the_end, refused, unread } = counts;
  return {
    outcome,
    rehearsed,
    counts: { units, accepted, not_judged_to_the_end, refused, unread, groups: counts.groups },
    left_behind: groups.flatMap(({ class: className, units: count, refusal, because }) =>
      refusal ? [{ class: className, units: count, refusal: refusal.code, because }] : [],
    ),
    remedies: remedies.map(({ says, units: count, changes }) => ({ says, units: count, changes })),
    inventory_sha256: inventory.sha256,
    on_ledger: entries.some(
      ({ kind, facts }) =>
        kind === 'acceptance-rehearsed' &&
        facts.manifest_digest === manifest_digest &&
        facts.inventory_sha256 === inventory.sha256 &&
        facts.outcome === outcome &&
        facts.units === units &&
        facts.accepted === accepted,
    ),
    file_sha256: digestOfFile(path),
  };
}

function requireOwn(path: string, digest: string | null, { entry }: RecordedRelease): void {
  if (digest === entry.facts.manifest_digest) return;
  throw new EvidenceError(
    'evidence-foreign',
    `${path} is about another payload: manifest digest ${digest ?? 'none'}, and here it is ${String(entry.facts.manifest_digest)}`,
    'name the result for this release',
  );
}

/** The JSON document in a file; undefined where it holds none. */
function parse(workspace: Workspace, path: string): unknown {
  try {
    return JSON.parse(workspace.files.readText(path));
  } catch (error) {
    if (error instanceof SyntaxError) return undefined;
    throw error;
  }
}

/** For a file that is not what it was named as. */
function unreadable(path: string, wanted: string): EvidenceError {
  return new EvidenceError('evidence-unreadable', `${path} is not ${wanted}`, 'name another file');
}
