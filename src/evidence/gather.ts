import {
  addedSignatures,
  type JsonObject,
  type LedgerEntry,
  readClass,
  readLedger,
  referenceTo,
  verifyLedger,
  type Workspace,
} from '../workspace/index.ts';
import { approvalOf } from './approval.ts';
import { broadcastOf } from './broadcast.ts';
import { imagesOf, partsOf } from './images.ts';
import { planOf, productionOf } from './production.ts';
import { readAcceptance, readRehearsal, rehearsalEntries } from './rehearsals.ts';
import { findRelease, type RecordedRelease, requireEnvelope } from './release.ts';
import { requirementsOf } from './requirements.ts';
import { rulesOf } from './rules.ts';
import { EVIDENCE_FORMAT, type Evidence } from './schema.ts';
import { sealsOf } from './seals.ts';

/** What evidence is made of. */
export interface EvidenceRequest {
  readonly workspace: Workspace;
  /** Class and number, or the path of the record. */
  readonly release: string;
  /** The envelope, to be compared with the record. */
  readonly envelope?: string | undefined;
  /** Files that `rehearse --out` wrote. */
  readonly rehearsals: readonly string[];
  /** Files that `rehearse --units --out` wrote. */
  readonly acceptance: readonly string[];
}

const USUAL_CAUTIONS = [
  'pilot group first, every hardware revision in it; the stop rule is written before the wave starts; keep a recovery path and prove it regularly on a real unit',
  'for a product under a safety or approval standard, that standard and licensed or qualified practice decide whether, when and by whom it is installed',
  'rehearsals run on a virtual unit: timing, side channels, fault injection and the lock bits of the part are to be tested on real hardware',
  'this evidence is no legal advice: where the status of a rule says secondary copies or memory, open the original before quoting it',
];

/**
 * Gathers the evidence for a release out of the workspace: what was sealed, by whom, who approved it, how it fits, what was
 * rehearsed, and how that answers RFC 9124 and the rules of the trade. The same workspace and files give the same document.
 * Opens no key. Throws `EvidenceError`, `WorkspaceError`.
 */
export async function gatherEvidence(request: EvidenceRequest): Promise<Evidence> {
  const { workspace } = request;
  const entries = readLedger(workspace);
  const release = findRelease(workspace, request.release, entries);
  const deviceClass = await readClass(workspace, release.className);
  const added = addedSignatures(workspace, `${release.className}/${release.number}`);
  const { facts } = release;
  const envelopes = [facts, ...added].map(({ envelope }) => String((envelope as JsonObject).sha256));
  if (request.envelope !== undefined) requireEnvelope(request.envelope, envelopes);
  const rehearsals = request.rehearsals.map((path) => readRehearsal(workspace, path, release, entries));
  const known = {
    trial: facts.trial === true,
    release: releaseFacts(release, added, request.envelope !== undefined),
    images: imagesOf(facts, deviceClass),
    ...partsOf(facts),
    seals: sealsOf(workspace, release, added),
    approval: await approvalOf(workspace, facts),
    ledger: ledgerFacts(workspace, release.entry),
    rehearsals,
    acceptance: request.acceptance.map((path) => readAcceptance(workspace, path, release, entries)),
    broadcast: broadcastOf(String(facts.manifest_digest), entries),
    plan: planOf(release.className, release.entry.number, entries),
    production: productionOf(workspace, release.className),
    support_until: deviceClass.plan.supportUntil ?? null,
    deviceClass,
  };
  const { deviceClass: _, ...shown } = known;
  return {
    format: EVIDENCE_FORMAT,
    as_of: entries.at(-1)!.time,
    vendor_domain: workspace.vendorDomain,
    ...shown,
    approvals_asked: deviceClass.approvals,
    rehearsals_on_ledger: rehearsalEntries(release, entries).length,
    cautions: [...deviceClass.cautions, ...USUAL_CAUTIONS],
    requirements: requirementsOf(known),
    rules: rulesOf(known),
  };
}

function releaseFacts(
  { facts, path }: RecordedRelease,
  added: readonly JsonObject[],
  compared: boolean,
): Evidence['release'] {
  const envelope = facts.envelope as JsonObject;
  const encryption = facts.encryption as JsonObject | null;
  const last = added.at(-1) ?? facts;
  const text = (value: unknown) => (typeof value === 'string' ? value : null);
  return {
    class: String(facts.class),
    model: String(facts.model),
    class_id: String(facts.class_id),
    vendor_id: String(facts.vendor_id),
    device_id: text(facts.device_id),
    version: String(facts.version),
    sequence_number: String(facts.sequence_number),
    security_version: Number(facts.security_version),
    scheme: String(facts.scheme),
    profile: String(facts.profile),
    sealed: String(facts.sealed),
    manifest_digest: String(facts.manifest_digest),
    reference_uri: String(facts.reference_uri),
    detached: facts.detached === true,
    description: text(facts.description),
    encryption: encryption ? String(encryption.algorithm) : null,
    envelope: {
      file: String(envelope.file),
      size_bytes: Number(envelope.size_bytes),
      sha256: String(envelope.sha256),
      compared,
    },
    record: path,
    open: (last.open as unknown[] | undefined)?.map(String) ?? [],
  };
}

function ledgerFacts(workspace: Workspace, entry: LedgerEntry): Evidence['ledger'] {
  const { intact, entries, head, findings } = verifyLedger(workspace);
  return {
    intact,
    entries,
    head_sha256: head?.sha256 ?? null,
    entry: entry.number,
    entry_sha256: referenceTo(entry).sha256,
    findings: findings.map(({ says }) => says),
  };
}
