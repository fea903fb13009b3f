import { fromHex } from '../bytes/index.ts';
import type { KeyDescription, KeyEvidence } from '../keys/index.ts';
import { type JsonObject, type Workspace, type WrittenRecord, writeRecord } from '../workspace/index.ts';
import { type Certificate, fingerprintText } from '../x509/index.ts';

/** What only some ceremonies have to say: more facts for the record, of which some stand in the ledger too. */
export interface CeremonyExtras {
  readonly facts: JsonObject;
  readonly summary: JsonObject;
}

/** Who was there when a key was made, and where its backups lie. */
export interface Attendance {
  readonly people: readonly string[];
  readonly backups: readonly string[];
}

/** Format of a ceremony record and its version. */
const CEREMONY_FORMAT = 'fieldseal.ceremony/1';

/** What a ceremony record says: the key, what was observed of it, who took part, where backups lie. No secret. */
export function ceremonyFacts(
  act: string,
  description: KeyDescription,
  evidence: KeyEvidence | undefined,
  attendance: Attendance,
  time: Date,
  certificate?: Certificate,
): JsonObject & { readonly format: string } {
  return {
    format: CEREMONY_FORMAT,
    act,
    time: time.toISOString(),
    trial: description.trial,
    key: {
      name: description.name,
      purpose: description.purpose,
      custody: description.custody,
      algorithm: description.algorithm,
      levels: description.levels,
    },
    fingerprint: description.fingerprint,
    fingerprint_to_read_aloud: description.spki
      ? fingerprintText(fromHex(description.spki))
      : description.fingerprint,
    certificate: certificate ? certificateFacts(certificate) : null,
    observed: evidence ? { ...evidence.facts } : null,
    attributes_read_back: (evidence?.attributes ?? []).map(({ name, found, wanted, ok }) => ({
      name,
      found,
      wanted,
      ok,
    })),
    people: [...attendance.people],
    backups: [...attendance.backups],
  };
}

/** Enters the making of a key in ceremonies/NAME.json and in the ledger. */
export function recordCeremony(
  workspace: Workspace,
  act: string,
  description: KeyDescription,
  evidence: KeyEvidence | undefined,
  attendance: Attendance,
  certificate?: Certificate,
  extras: CeremonyExtras = { facts: {}, summary: {} },
): WrittenRecord {
  return writeRecord(workspace, {
    folder: 'ceremonies',
    name: [description.name],
    kind: act,
    facts: {
      ...ceremonyFacts(act, description, evidence, attendance, workspace.now(), certificate),
      ...extras.facts,
    },
    summary: {
      key: description.name,
      purpose: description.purpose,
      fingerprint: description.fingerprint,
      ...extras.summary,
    },
  });
}

function certificateFacts(certificate: Certificate): JsonObject {
  return {
    subject: certificate.subject.text,
    issuer: certificate.issuer.text,
    serial: certificate.serial,
    not_before: certificate.notBefore.toISOString(),
    not_after: certificate.notAfter?.toISOString() ?? null,
    scope: [...certificate.subjectAltUris],
    role: certificate.role ?? null,
  };
}
