import { dirname } from 'node:path';
import { type Json, type JsonObject, jsonDigest, readableJson } from './canonical.ts';
import { WorkspaceError } from './errors.ts';
import { isRunning } from './files.ts';
import { appendEntry, type LedgerReference, readLedger, referenceTo } from './ledger.ts';
import { requireName } from './names.ts';
import type { Workspace } from './workspace.ts';

const PENDING = /^([0-9a-f]{64})\.(\d+)\.json$/;

/** Folders of records that are written once and referred to by the ledger. */
export const RECORD_FOLDERS = [
  'requests',
  'releases',
  'units',
  'batches',
  'ceremonies',
  'trust-updates',
  'attestations',
] as const;
export type RecordFolder = (typeof RECORD_FOLDERS)[number];

/** A record about to be written. */
export interface NewRecord {
  readonly folder: RecordFolder;
  /** Path below the folder, without `.json`: e.g. ['vent', '12'] for releases/vent/12.json. */
  readonly name: readonly string[];
  /** Kind of the ledger entry, e.g. 'sealed'. */
  readonly kind: string;
  /** Everything the record says; `format` comes first. */
  readonly facts: JsonObject & { readonly format: string };
  /** What the ledger entry says beside the record's path and digest: the facts worth finding there. */
  readonly summary: JsonObject;
}

/** A record as it stands in its file. */
export interface WrittenRecord {
  /** Path in the workspace. */
  readonly path: string;
  readonly facts: JsonObject;
  readonly ledger: LedgerReference;
}

/**
 * Enters a record in the ledger, then writes it, once. The entry comes first and holds the record's digest, so
 * what exists is always on the ledger. The record's text waits in private/pending meanwhile: the next call
 * finishes one that a killed process left behind. Throws `name-taken` where the record exists.
 */
export function writeRecord(workspace: Workspace, record: NewRecord): WrittenRecord {
  finishRecords(workspace);
  const path = recordPath(record.folder, record.name);
  if (workspace.files.exists(workspace.path(path))) throw taken(path);
  const digest = jsonDigest(record.facts);
  const pending = pendingPath(workspace, digest);
  workspace.files.makeFolder(workspace.path('private', 'pending'), { secret: true });
  workspace.files.createNew(pending, readableJson({ path, facts: record.facts }));
  const ledger = appendOrForget(workspace, record, { record: path, record_sha256: digest }, pending);
  placeRecord(workspace, path, record.facts, ledger);
  workspace.files.remove(pending);
  return { path, facts: record.facts, ledger };
}

function appendOrForget(
  workspace: Workspace,
  record: NewRecord,
  place: JsonObject,
  pending: string,
): LedgerReference {
  try {
    return appendEntry(workspace, record.kind, { ...record.summary, ...place });
  } catch (error) {
    workspace.files.remove(pending);
    throw error;
  }
}

/** Finishes what a process that is gone, or a full disk, left: an entry whose record is pending gets its record. */
export function finishRecords(workspace: Workspace): void {
  const waiting = pendingNames(workspace).filter((name) => !runsElsewhere(Number(PENDING.exec(name)![2])));
  if (waiting.length === 0) return;
  const entries = readLedger(workspace);
  for (const name of waiting) {
    const file = workspace.path('private', 'pending', name);
    const content = parse(readIfThere(workspace, file));
    const digest = PENDING.exec(name)![1];
    const entry = entries.find(
      ({ facts }) => facts.record_sha256 === digest && facts.record === content?.path,
    );
    if (entry)
      placeRecord(workspace, String(content?.path), content?.facts as JsonObject, referenceTo(entry));
    workspace.files.remove(file);
  }
}

// Another process may finish the same record at the same time, and take it away first.
function readIfThere(workspace: Workspace, file: string): string {
  try {
    return workspace.files.readText(file);
  } catch (error) {
    if (error instanceof WorkspaceError && error.code === 'file-missing') return '';
    throw error;
  }
}

/** Whether a record that the ledger names was still being written when its process ended. */
export function isPending(workspace: Workspace, digest: string): boolean {
  return pendingNames(workspace).some((name) => name.startsWith(`${digest}.`));
}

function pendingNames(workspace: Workspace): string[] {
  return workspace.files.list(workspace.path('private', 'pending')).filter((name) => PENDING.test(name));
}

function pendingPath(workspace: Workspace, digest: string): string {
  return workspace.path('private', 'pending', `${digest}.${process.pid}.json`);
}

function runsElsewhere(pid: number): boolean {
  return pid !== process.pid && isRunning(pid);
}

function placeRecord(workspace: Workspace, path: string, facts: JsonObject, ledger: LedgerReference): void {
  const file = workspace.path(path);
  const text = readableJson({ ...facts, ledger: { ...ledger } } as Json);
  workspace.files.makeFolder(dirname(file));
  // Another process may have finished it meanwhile: the same bytes are fine.
  if (!workspace.files.createNew(file, text) && workspace.files.readText(file) !== text) throw taken(path);
}

/** Reads one record. Throws not-found, or file-damaged where the file is not a record. */
export function readRecord(
  workspace: Workspace,
  folder: RecordFolder,
  name: readonly string[],
): WrittenRecord {
  return readRecordFile(workspace, recordPath(folder, name));
}

/** Names of the records in a folder, each as a path without `.json`, sorted. Other files, such as unit files, may lie there. */
export function listRecords(workspace: Workspace, folder: RecordFolder, ...below: string[]): string[] {
  return workspace.files.list(workspace.path(folder, ...below)).flatMap((name) => {
    const inner = [...below, name];
    if (name.endsWith('.json')) return [inner.join('/').slice(0, -'.json'.length)];
    return below.length === 0 && !name.includes('.') ? listRecords(workspace, folder, name) : [];
  });
}

/** Reads the record at a path of the workspace. */
export function readRecordFile(workspace: Workspace, path: string): WrittenRecord {
  const value = parse(workspace.files.readText(workspace.path(path)));
  if (!value) throw damaged(path, workspace.path(path));
  const { ledger, ...facts } = value;
  const reference = readReference(ledger);
  if (!reference) throw damaged(path, workspace.path(path));
  return { path, facts, ledger: reference };
}

function parse(text: string): JsonObject | undefined {
  try {
    const value: unknown = JSON.parse(text);
    return typeof value === 'object' && value !== null && !Array.isArray(value)
      ? (value as JsonObject)
      : undefined;
  } catch {
    return undefined;
  }
}

function readReference(value: Json | undefined): LedgerReference | undefined {
  if (typeof value !== 'object' || value === null) return undefined;
  const { number, sha256 } = value as JsonObject;
  return typeof number === 'number' && typeof sha256 === 'string' ? { number, sha256 } : undefined;
}

function recordPath(folder: RecordFolder, name: readonly string[]): string {
  for (const part of name) requireName(part, 'record');
  return `${[folder, ...name].join('/')}.json`;
}

function taken(path: string): WorkspaceError {
  return new WorkspaceError('name-taken', `the record ${path} is there already; records are written once`, {
    hint: 'choose another name or number',
  });
}

function damaged(path: string, file: string): WorkspaceError {
  return new WorkspaceError('file-damaged', `${path} is not a record as it was written`, {
    hint: 'restore it from git or a backup, then run "fieldseal ledger check"',
    file,
  });
}
