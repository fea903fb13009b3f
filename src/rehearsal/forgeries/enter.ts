import { appendEntry, type Workspace } from '../../workspace/index.ts';
import type { RehearsalDocument } from './schema.ts';

/** Enters in the ledger that a payload was rehearsed, and what came of it. */
export function enterRehearsal(workspace: Workspace, document: RehearsalDocument): void {
  const { unit, counts, refusal } = document;
  appendEntry(workspace, 'rehearsed', {
    class: unit.class,
    serial: unit.serial,
    envelope_sha256: document.envelope.sha256,
    manifest_digest: document.manifest_digest,
    sequence_number: document.sequence_number,
    outcome: document.outcome,
    refusal: refusal?.code ?? null,
    ...counts,
    failures: document.rows.filter(({ outcome }) => outcome === 'failed').map(({ name }) => name),
  });
}
