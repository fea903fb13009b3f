import { type JsonObject, jsonDigest } from './canonical.ts';
import { WorkspaceError } from './errors.ts';
import { leavesIn } from './leaf-witness.ts';
import {
  BEFORE_FIRST,
  entryDigest,
  type LedgerEntry,
  type LedgerReference,
  ledgerFiles,
  parseEntry,
  witnesses,
} from './ledger.ts';
import { keyFaults } from './recorded-keys.ts';
import { isPending, listRecords, RECORD_FOLDERS, readRecordFile, type WrittenRecord } from './records.ts';
import type { Workspace } from './workspace.ts';

/** What can be wrong with the ledger or with a record it names. */
export type FindingKind =
  | 'unreadable'
  | 'removed'
  | 'inserted'
  | 'reordered'
  | 'changed'
  | 'cut-off'
  | 'foreign'
  | 'record-missing'
  | 'record-changed'
  | 'key-changed'
  | 'leaf-twice'
  | 'workspace-changed';

/** One finding. */
export interface LedgerFinding {
  readonly kind: FindingKind;
  /** Number of the entry it concerns, where there is one. */
  readonly entry: number | null;
  /** File it concerns, as a path in the workspace. */
  readonly file: string;
  readonly says: string;
}

/** What the check of the ledger found. `entries` counts readable entries; `witnessed` those this copy wrote itself. */
export interface LedgerVerdict {
  readonly intact: boolean;
  readonly entries: number;
  readonly head: LedgerReference | null;
  readonly witnessed: number;
  readonly records: number;
  readonly findings: readonly LedgerFinding[];
}

interface StoredEntry {
  file: string;
  /** Number that the file's name says. */
  place: number;
  entry: LedgerEntry;
  sha256: string;
}

/**
 * Checks the hash chain, the witnesses that this copy kept of what it wrote itself, every record against the
 * entry that names it, and every key and certificate against the entry of its making. Says which entries were removed, inserted, reordered, changed or cut off the end. Without
 * witnesses (a clone) a chain rewritten as a whole shows only in the records that refer to it.
 */
export function verifyLedger(workspace: Workspace): LedgerVerdict {
  const { stored, findings } = readStored(workspace);
  const records = readRecords(workspace, findings);
  const order = byNumber(stored);
  const references = [
    ...witnesses(workspace).map((reference) => ({ reference, by: 'the witness kept here' })),
    ...refersTo(records),
  ];
  findings.push(
    ...findMisplaced(stored),
    ...findGaps(order, references),
    ...findBrokenLinks(order, references),
    ...findForeignWorkspace(workspace, order),
    ...findRecordFaults(workspace, order, records),
    ...findKeyFaults(workspace, order),
    ...findLeavesTwice(order),
  );
  const last = order.at(-1);
  return {
    intact: findings.length === 0,
    entries: stored.length,
    head: last ? { number: last.entry.number, sha256: last.sha256 } : null,
    witnessed: witnesses(workspace).length,
    records: records.length,
    findings: unique(findings),
  };
}

function readStored(workspace: Workspace): { stored: StoredEntry[]; findings: LedgerFinding[] } {
  const stored: StoredEntry[] = [];
  const findings: LedgerFinding[] = [];
  for (const name of ledgerFiles(workspace)) {
    const file = `ledger/${name}`;
    const place = Number(/^(\d{8})\.json$/.exec(name)?.[1] ?? 0);
    if (place === 0) {
      findings.push({ kind: 'foreign', entry: null, file, says: `${file} is no part of a ledger` });
      continue;
    }
    const text = workspace.files.readText(workspace.path(file));
    const entry = parseEntry(text);
    if (entry) stored.push({ file, place, entry, sha256: entryDigest(text) });
    else
      findings.push({
        kind: 'unreadable',
        entry: place,
        file,
        says: `entry ${place} was changed: it is no entry in canonical form`,
      });
  }
  return { stored, findings };
}

/** One entry per number, in order; of several with one number the one that the next entry names. */
function byNumber(stored: readonly StoredEntry[]): StoredEntry[] {
  const named = new Set(stored.map(({ entry }) => entry.previous));
  const chosen = new Map<number, StoredEntry>();
  for (const one of stored) {
    const other = chosen.get(one.entry.number);
    if (!other || (named.has(one.sha256) && !named.has(other.sha256))) chosen.set(one.entry.number, one);
  }
  return [...chosen.values()].sort((a, b) => a.entry.number - b.entry.number);
}

/** Two entries that name one leaf of an HSS/LMS key: whoever has both signatures can forge (RFC 8554 section 9.2). */
function* findLeavesTwice(order: readonly StoredEntry[]): Generator<LedgerFinding> {
  const users = new Map<string, number>();
  for (const { entry, file } of order) {
    for (const { key, fingerprint, leaf } of leavesIn(entry.facts)) {
      const use = `${fingerprint} ${leaf}`;
      const first = users.get(use);
      users.set(use, first ?? entry.number);
      if (first === undefined) continue;
      yield {
        kind: 'leaf-twice',
        entry: entry.number,
        file,
        says: `entries ${first} and ${entry.number} name the same leaf ${leaf} of the key ${key}: it signed twice, and anybody who has both signatures can forge. Retire the key at once`,
      };
    }
  }
}

function* findMisplaced(stored: readonly StoredEntry[]): Generator<LedgerFinding> {
  const chosen = new Set(byNumber(stored));
  for (const one of stored) {
    const { number } = one.entry;
    if (!chosen.has(one)) {
      yield {
        kind: 'inserted',
        entry: number,
        file: one.file,
        says: `${one.file} was inserted: there is another entry ${number}, and the chain goes through that one`,
      };
    } else if (one.place !== number) {
      yield {
        kind: 'reordered',
        entry: number,
        file: one.file,
        says: `entry ${number} was moved: it stands in ${one.file}`,
      };
    }
  }
}

interface Reference {
  reference: LedgerReference;
  by: string;
}

function refersTo(records: readonly WrittenRecord[]): Reference[] {
  return records.map((record) => ({ reference: record.ledger, by: record.path }));
}

function* findGaps(
  order: readonly StoredEntry[],
  references: readonly Reference[],
): Generator<LedgerFinding> {
  let last = 0;
  for (const { entry } of order) {
    if (entry.number > last + 1) yield missing('removed', last + 1, entry.number - 1, '');
    last = entry.number;
  }
  const beyond = references.filter(({ reference }) => reference.number > last);
  const furthest = beyond.sort((a, b) => b.reference.number - a.reference.number)[0];
  if (furthest) {
    const { reference, by } = furthest;
    yield missing('cut-off', last + 1, reference.number, ` the end: ${by} names entry ${reference.number}`);
  }
}

function missing(kind: 'removed' | 'cut-off', first: number, last: number, how: string): LedgerFinding {
  const which = first === last ? `entry ${first} was` : `entries ${first} to ${last} were`;
  const says = `${which} ${kind === 'removed' ? 'removed' : 'cut off'}${how}`;
  return { kind, entry: first, file: fileOf(first), says };
}

function* findBrokenLinks(
  order: readonly StoredEntry[],
  references: readonly Reference[],
): Generator<LedgerFinding> {
  const known = new Map<number, Reference[]>();
  for (const one of references)
    known.set(one.reference.number, [...(known.get(one.reference.number) ?? []), one]);
  for (const [i, one] of order.entries()) {
    const { number, previous } = one.entry;
    const before = order[i - 1];
    const expected =
      number === 1 ? BEFORE_FIRST : before?.entry.number === number - 1 ? before.sha256 : undefined;
    const contradicted = known.get(number)?.find(({ reference }) => reference.sha256 !== one.sha256);
    if (contradicted) {
      yield {
        kind: 'changed',
        entry: number,
        file: one.file,
        says: `entry ${number} was changed: ${contradicted.by} holds another digest of it`,
      };
    }
    if (expected === undefined || previous === expected) continue;
    const says =
      number === 1
        ? 'entry 1 was changed: it does not begin a chain'
        : `entry ${number - 1} was changed after entry ${number} was written, or entry ${number} was: the digest in ${number} is not that of ${number - 1}`;
    yield { kind: 'changed', entry: Math.max(1, number - 1), file: fileOf(Math.max(1, number - 1)), says };
  }
}

function* findForeignWorkspace(
  workspace: Workspace,
  order: readonly StoredEntry[],
): Generator<LedgerFinding> {
  const first = order[0]?.entry;
  if (first?.number !== 1) return;
  const { lineage, workspace_kind: kind, vendor_domain: domain } = first.facts;
  if (lineage === workspace.lineage && kind === workspace.kind && domain === workspace.vendorDomain) return;
  const says = `fieldseal.yaml was changed: the first entry says a ${String(kind)} workspace of ${String(domain)}, lineage ${String(lineage)}`;
  yield { kind: 'workspace-changed', entry: 1, file: 'fieldseal.yaml', says };
}

function* findKeyFaults(workspace: Workspace, order: readonly StoredEntry[]): Generator<LedgerFinding> {
  const entries = order.map(({ entry }) => entry);
  for (const { entry, file, says } of keyFaults(workspace, undefined, entries))
    yield { kind: 'key-changed', entry, file, says };
}

function readRecords(workspace: Workspace, findings: LedgerFinding[]): WrittenRecord[] {
  return RECORD_FOLDERS.flatMap((folder) =>
    listRecords(workspace, folder).map((name) => `${folder}/${name}.json`),
  ).flatMap((path) => {
    try {
      return [readRecordFile(workspace, path)];
    } catch (error) {
      if (!(error instanceof WorkspaceError) || error.code !== 'file-damaged') throw error;
      findings.push({ kind: 'record-changed', entry: null, file: path, says: error.message });
      return [];
    }
  });
}

function* findRecordFaults(
  workspace: Workspace,
  order: readonly StoredEntry[],
  records: readonly WrittenRecord[],
): Generator<LedgerFinding> {
  const byPath = new Map(records.map((record) => [record.path, record]));
  for (const { entry } of order) {
    const path = entry.facts.record;
    if (typeof path !== 'string') continue;
    const record = byPath.get(path);
    byPath.delete(path);
    if (!record) {
      if (isPending(workspace, String(entry.facts.record_sha256))) continue;
      yield {
        kind: 'record-missing',
        entry: entry.number,
        file: path,
        says: `entry ${entry.number} names ${path}, which is not there`,
      };
    } else if (
      jsonDigest(record.facts) !== entry.facts.record_sha256 ||
      record.ledger.number !== entry.number
    ) {
      yield {
        kind: 'record-changed',
        entry: entry.number,
        file: path,
        says: `${path} is not the record that entry ${entry.number} names`,
      };
    }
  }
  for (const path of byPath.keys()) {
    yield {
      kind: 'record-changed',
      entry: null,
      file: path,
      says: `${path} stands on no entry of the ledger`,
    };
  }
}

function fileOf(number: number): string {
  return `ledger/${String(number).padStart(8, '0')}.json`;
}

function unique(findings: readonly LedgerFinding[]): LedgerFinding[] {
  const seen = new Set<string>();
  return findings.filter(({ kind, entry, file }) => {
    const id = `${kind} ${entry} ${file}`;
    return !seen.has(id) && seen.add(id);
  });
}

/** A verdict as `ledger check --json` gives it (format fieldseal.ledger-check/1). */
export function ledgerVerdictJson(verdict: LedgerVerdict): JsonObject {
  return {
    format: 'fieldseal.ledger-check/1',
    intact: verdict.intact,
    entries: verdict.entries,
    head: verdict.head ? { ...verdict.head } : null,
    witnessed: verdict.witnessed,
    records: verdict.records,
    findings: verdict.findings.map((finding) => ({ ...finding })),
  };
}
