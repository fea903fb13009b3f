import { toHex } from '../bytes/index.ts';
import { startSha256 } from '../crypto/index.ts';
import {
  fileSource,
  type JsonObject,
  jsonDigest,
  type LedgerEntry,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import { EvidenceError } from './error.ts';

/** A release as its record holds it, and the entry of the ledger that vouches for the record. */
export interface RecordedRelease {
  readonly className: string;
  readonly number: string;
  readonly path: string;
  readonly facts: JsonObject;
  readonly entry: LedgerEntry;
}

const REFERENCE = /^(?:.*[/\\])?([^/\\]+)[/\\](\d{1,19})(?:\.json)?$/;

/**
 * Finds a release by class and number (`vent/12`) or by the path of its record. Throws `EvidenceError` release-unknown, and
 * release-changed where the record is not the one that the ledger names.
 */
export function findRelease(
  workspace: Workspace,
  reference: string,
  entries: readonly LedgerEntry[],
): RecordedRelease {
  const [, className, digits] = REFERENCE.exec(reference) ?? [];
  const number = digits === undefined ? '' : String(BigInt(digits));
  const path = `releases/${className}/${number}.json`;
  if (className === undefined || !workspace.files.exists(workspace.path(path))) {
    throw new EvidenceError(
      'release-unknown',
      `no release ${JSON.stringify(reference)} is on record`,
      'name it by class and number, such as vent/12: "fieldseal ledger list" shows what was sealed',
    );
  }
  const { facts } = readRecord(workspace, 'releases', [className, number]);
  const digest = jsonDigest(facts);
  const entry = entries.find(
    ({ kind, facts: said }) => kind === 'sealed' && said.record === path && said.record_sha256 === digest,
  );
  if (entry) return { className, number, path, facts, entry };
  throw new EvidenceError(
    'release-changed',
    `${path} is not the record that the ledger names; no evidence is made of it`,
    'run "fieldseal ledger check", and restore the record from git',
  );
}

/** SHA-256 of a file, hexadecimal. */
export function digestOfFile(path: string): string {
  const source = fileSource(path);
  try {
    const hash = startSha256();
    for (const piece of source.pieces()) hash.update(piece);
    return toHex(hash.digest());
  } finally {
    source.close();
  }
}

/** Throws `EvidenceError` envelope-differs unless the file is an envelope of this release: as sealed, or with a signature added. */
export function requireEnvelope(path: string, known: readonly string[]): void {
  const found = digestOfFile(path);
  if (known.includes(found)) return;
  throw new EvidenceError(
    'envelope-differs',
    `${path} has the SHA-256 ${found}, and on record is ${known.join(' or ')}; no evidence is made`,
    'name the envelope of this release; where it should be that one, treat it as changed',
  );
}
