import { fromUtf8, toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { canonicalJson, type JsonObject } from './canonical.ts';
import { WorkspaceError } from './errors.ts';
import type { Workspace } from './workspace.ts';

/** One entry of the ledger, as its file holds it. */
export interface LedgerEntry {
  readonly format: 'fieldseal.ledger/1';
  /** Counted from 1, without gaps. */
  readonly number: number;
  /** SHA-256 of the previous entry's canonical form, 64 hexadecimal digits; zeros in the first. */
  readonly previous: string;
  /** RFC 3339, UTC. */
  readonly time: string;
  readonly kind: string;
  readonly facts: JsonObject;
}

/** Names an entry beyond doubt: its number and its SHA-256. */
export interface LedgerReference {
  readonly number: number;
  readonly sha256: string;
}

export const LEDGER_FORMAT = 'fieldseal.ledger/1';
export const BEFORE_FIRST = '0'.repeat(64);
const DIGITS = 8;
const ENTRY_NAME = /^(\d{8})\.json$/;
const WITNESS_NAME = /^(\d{8})\.([0-9a-f]{64})$/;

/**
 * Appends an entry: durable when this returns, whole or absent whatever happens, also when several processes
 * append at once. Refused (`ledger-broken`) where the end of the chain is not the one this copy has seen.
 */
export function appendEntry(workspace: Workspace, kind: string, facts: JsonObject): LedgerReference {
  for (;;) {
    const head = standingHead(workspace) ?? readHead(workspace);
    const entry: LedgerEntry = {
      format: LEDGER_FORMAT,
      number: head.number + 1,
      previous: head.sha256,
      time: workspace.now().toISOString(),
      kind,
      facts,
    };
    const text = canonicalJson(entry as unknown as JsonObject);
    const reference = { number: entry.number, sha256: entryDigest(text) };
    if (!workspace.files.createNew(entryPath(workspace, entry.number), `${text}\n`)) {
      heads.delete(workspace);
      continue;
    }
    writeWitness(workspace, reference);
    heads.set(workspace, reference);
    return reference;
  }
}

/** The entry that this process wrote last, for each workspace: so that thousands in a row do not list the folder each time. */
const heads = new WeakMap<Workspace, LedgerReference>();

/** That entry, where it still stands as it was written; whether another follows is found out when the next is created. */
function standingHead(workspace: Workspace): LedgerReference | undefined {
  const head = heads.get(workspace);
  const path = head && entryPath(workspace, head.number);
  if (!path || !workspace.files.exists(path)) return undefined;
  return entryDigest(workspace.files.readText(path)) === head.sha256 ? head : undefined;
}

/** Number and digest of the last entry; number 0 before the first. */
export function readHead(workspace: Workspace): LedgerReference {
  // The witness first: another process may append between the two looks.
  const witness = witnesses(workspace).at(-1);
  const last = entryNumbers(workspace).at(-1) ?? 0;
  if (witness && witness.number > last) {
    throw broken(`the ledger ends at entry ${last}, but entry ${witness.number} was written here before`);
  }
  if (last === 0) return { number: 0, sha256: BEFORE_FIRST };
  requireFirstEntry(workspace);
  const head = readEntry(workspace, last).reference;
  if (witness && witness.number === last && witness.sha256 !== head.sha256) {
    throw broken(`entry ${last} of the ledger is not the one that was written here`);
  }
  return head;
}

/** One entry and its reference. Throws `file-damaged` where the file is not an entry in canonical form. */
export function readEntry(
  workspace: Workspace,
  number: number,
): { entry: LedgerEntry; reference: LedgerReference } {
  const path = entryPath(workspace, number);
  const text = workspace.files.readText(path);
  const entry = parseEntry(text);
  if (!entry || entry.number !== number) {
    throw new WorkspaceError(
      'file-damaged',
      `${workspace.show(path)} is not entry ${number} of the ledger as it was written`,
      {
        hint: 'run "fieldseal ledger check", then restore the file from git or a backup',
        file: path,
      },
    );
  }
  return { entry, reference: { number, sha256: entryDigest(text) } };
}

/** The reference to an entry. */
export function referenceTo(entry: LedgerEntry): LedgerReference {
  return { number: entry.number, sha256: entryDigest(canonicalJson(entry as unknown as JsonObject)) };
}

/** All entries in order, as they stand. */
export function readLedger(workspace: Workspace): LedgerEntry[] {
  return entryNumbers(workspace).map((number) => readEntry(workspace, number).entry);
}

/** The entry that a file's text holds, or undefined where it is not one, byte for byte. */
export function parseEntry(text: string): LedgerEntry | undefined {
  try {
    const value: unknown = JSON.parse(text);
    if (!isEntry(value) || `${canonicalJson(value as unknown as JsonObject)}\n` !== text) return undefined;
    return value;
  } catch {
    return undefined;
  }
}

function isEntry(value: unknown): value is LedgerEntry {
  if (typeof value !== 'object' || value === null) return false;
  const entry = value as Record<string, unknown>;
  return (
    entry.format === LEDGER_FORMAT &&
    Number.isSafeInteger(entry.number) &&
    typeof entry.previous === 'string' &&
    typeof entry.time === 'string' &&
    typeof entry.kind === 'string' &&
    typeof entry.facts === 'object' &&
    entry.facts !== null
  );
}

/** SHA-256 of an entry by the text of its file. */
export function entryDigest(text: string): string {
  return toHex(sha256(fromUtf8(text.replace(/\n$/, ''))));
}

/** Numbers of the entry files, ascending. */
export function entryNumbers(workspace: Workspace): number[] {
  return ledgerFiles(workspace)
    .flatMap((name) => ENTRY_NAME.exec(name)?.[1] ?? [])
    .map(Number);
}

/** Names in the ledger's folder. */
export function ledgerFiles(workspace: Workspace): string[] {
  return workspace.files.list(workspace.path('ledger'));
}

/** What this copy of the workspace wrote itself, by number: kept outside git, one empty file per entry. */
export function witnesses(workspace: Workspace): LedgerReference[] {
  return workspace.files.list(workspace.path('private', 'ledger')).flatMap((name) => {
    const match = WITNESS_NAME.exec(name);
    return match ? [{ number: Number(match[1]), sha256: match[2]! }] : [];
  });
}

export function entryPath(workspace: Workspace, number: number): string {
  return workspace.path('ledger', `${String(number).padStart(DIGITS, '0')}.json`);
}

function writeWitness(workspace: Workspace, { number, sha256: digest }: LedgerReference): void {
  workspace.files.makeFolder(workspace.path('private', 'ledger'));
  workspace.files.createMark(
    workspace.path('private', 'ledger', `${String(number).padStart(DIGITS, '0')}.${digest}`),
  );
}

// The first entry says whose workspace this is: a workspace file that says otherwise was edited.
function requireFirstEntry(workspace: Workspace): void {
  const { facts } = readEntry(workspace, 1).entry;
  if (facts.lineage === workspace.lineage && facts.workspace_kind === workspace.kind) return;
  throw broken(
    `fieldseal.yaml does not say what the first entry of the ledger says ` +
      `(a ${String(facts.workspace_kind)} workspace of lineage ${String(facts.lineage)})`,
  );
}

function broken(what: string): WorkspaceError {
  return new WorkspaceError('ledger-broken', `${what}; nothing was written`, {
    hint: 'run "fieldseal ledger check", then restore what is missing from git or a backup',
  });
}
