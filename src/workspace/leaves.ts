import { randomUUID } from 'node:crypto';
import { type HssShape, hssCapacity, hssShape } from '../crypto/index.ts';
import type { KeyDescription, LeafSource } from '../keys/index.ts';
import { type JsonObject, readableJson } from './canonical.ts';
import { WorkspaceError } from './errors.ts';
import { highestLeafWitness, type LeafWitness } from './leaf-witness.ts';
import { appendEntry, readLedger } from './ledger.ts';
import type { Workspace } from './workspace.ts';

const LEAVES_FORMAT = 'fieldseal.leaves/1';
const DIGITS = 19;
const LEAF_NAME = /^\d{19}$/;
const FEW_LEAVES = 100n;

/** What is known of the one-time leaves of an HSS/LMS key. */
export interface LeafState {
  /** How many signatures the key can ever make. */
  readonly capacity: bigint;
  /** How many of them are left, by what is known here. */
  readonly remaining: bigint;
  /** The leaf that the next signature would use. */
  readonly next: bigint;
  /** Highest leaf that the ledger or a record names, and which of them; undefined where none does. */
  readonly witnessed: LeafWitness | undefined;
  /** Whether few are left: below 10 % or below 100. */
  readonly few: boolean;
}

/** The parameter sets of an HSS/LMS key by its description; undefined for every other key. */
export function shapeOf({ levels }: KeyDescription): HssShape | undefined {
  return levels && hssShape(levels);
}

/**
 * Starts the leaves of a key that has just been made: its counter in the private folder, and its entry in the ledger.
 * Done once in a key's life; nothing starts them again. Throws name-taken where they were.
 */
export function startLeaves(workspace: Workspace, description: KeyDescription): LeafSource {
  const { name, fingerprint } = description;
  const lineage = randomUUID();
  workspace.files.makeFolder(spentFolder(workspace, name), { secret: true });
  if (!workspace.files.createMark(placePath(workspace, name))) throw startedBefore(name);
  const place = placeOf(workspace, name);
  const content = { format: LEAVES_FORMAT, key: name, fingerprint, lineage, place };
  workspace.files.createNew(counterPath(workspace, name), readableJson(content), { secret: true });
  appendEntry(workspace, 'leaves-started', {
    key: name,
    fingerprint,
    leaf_lineage: lineage,
    leaf_capacity: String(hssCapacity(shapeOf(description)!)),
  });
  return openLeaves(workspace, description);
}

/**
 * The leaves of a key, for signing. Each is given once for ever: one empty file of its name is made exclusively and
 * durably before it is given, also when the process is killed or several race. Refused, here and at each leaf, where this
 * copy of the workspace is not the one in which the key was made, or is an older state of it: leaves-missing,
 * leaves-copied, leaves-behind; and leaves-used-up after the last. There is no way to claim: a key in doubt is retired
 * (RFC 8554 section 9.2, NIST SP 800-208).
 */
export function openLeaves(workspace: Workspace, description: KeyDescription): LeafSource {
  requireUsable(workspace, description);
  return {
    take() {
      for (;;) {
        const { next } = requireUsable(workspace, description);
        if (workspace.files.createMark(leafPath(workspace, description.name, next))) return next;
      }
    },
  };
}

/** As `openLeaves`, where the leaves of the key are counted here: for HSS/LMS keys in files. Undefined for all others. */
export function leavesFor(workspace: Workspace, description: KeyDescription): LeafSource | undefined {
  return countsHere(description) ? openLeaves(workspace, description) : undefined;
}

/** Reads the state of a key's leaves without changing anything; undefined for a key that is not HSS/LMS. */
export function readLeaves(workspace: Workspace, description: KeyDescription): LeafState | undefined {
  const shape = shapeOf(description);
  if (!shape) return undefined;
  const capacity = hssCapacity(shape);
  const witnessed = highestLeafWitness(workspace, description.fingerprint);
  const spent = spentLeaves(workspace, description.name).at(-1) ?? -1n;
  const last = witnessed && witnessed.leaf > spent ? witnessed.leaf : spent;
  const remaining = capacity - last - 1n;
  return {
    capacity,
    remaining,
    next: last + 1n,
    witnessed,
    few: remaining < FEW_LEAVES || remaining * 10n < capacity,
  };
}

/** Why a key whose leaves are counted here cannot sign; undefined where it can, and for all others. Changes nothing. */
export function leavesRefusal(workspace: Workspace, description: KeyDescription): WorkspaceError | undefined {
  if (!countsHere(description)) return undefined;
  try {
    requireUsable(workspace, description);
    return undefined;
  } catch (error) {
    if (error instanceof WorkspaceError) return error;
    throw error;
  }
}

/** What to tell whoever signs with a key that has few leaves left; undefined where it has enough. */
export function leavesCaution(name: string, { few, remaining, capacity }: LeafState): string | undefined {
  if (!few) return undefined;
  return remaining === 0n
    ? `signer ${name} has made all of its ${capacity} signatures: make another signer`
    : `signer ${name} can make ${remaining} more of its ${capacity} signatures: make another signer in time, and bring its certificate to the units while this one still signs`;
}

// A token counts the leaves of its keys itself.
function countsHere(description: KeyDescription): boolean {
  return description.custody === 'file' && shapeOf(description) !== undefined;
}

function requireUsable(workspace: Workspace, description: KeyDescription): LeafState {
  const { name, fingerprint } = description;
  const state = readLeaves(workspace, description);
  if (!state) throw new TypeError(`the key ${name} is no HSS/LMS key in a file`);
  const counter = readCounterFile(workspace, name);
  if (!counter || counter.fingerprint !== fingerprint) throw missing(name);
  requireStartedHere(workspace, fingerprint, name, counter);
  requireSamePlace(workspace, name, counter);
  requireNotBehind(workspace, name, state);
  if (state.remaining <= 0n) throw usedUp(name, state);
  return state;
}

function requireStartedHere(
  workspace: Workspace,
  fingerprint: string,
  name: string,
  counter: CounterFile,
): void {
  const starts = readLedger(workspace).filter(
    ({ kind, facts }) => kind === 'leaves-started' && facts.fingerprint === fingerprint,
  );
  if (starts.length === 1 && starts[0]!.facts.leaf_lineage === counter.lineage) return;
  throw refused(
    'leaves-missing',
    `the ledger does not say that the one-time leaves of the key ${name} were started in this copy of the workspace`,
  );
}

function requireSamePlace(workspace: Workspace, name: string, { place }: CounterFile): void {
  const there = [placePath(workspace, name), spentFolder(workspace, name)].every(workspace.files.exists);
  if (there && samePlace(placeOf(workspace, name), place)) return;
  throw refused(
    'leaves-copied',
    `the counter of the key ${name} is a copy: it was copied or restored, and the original may have signed meanwhile`,
  );
}

function requireNotBehind(workspace: Workspace, name: string, { witnessed }: LeafState): void {
  const spent = spentLeaves(workspace, name).at(-1) ?? -1n;
  if (!witnessed || witnessed.leaf <= spent) return;
  const here = spent < 0n ? 'says that none was used' : `ends at leaf ${spent}`;
  throw refused(
    'leaves-behind',
    `the counter of the key ${name} ${here}, but ${witnessed.by} names leaf ${witnessed.leaf}: it was set back or restored from a backup`,
  );
}

function missing(name: string): WorkspaceError {
  return refused(
    'leaves-missing',
    `this copy of the workspace holds no counter for the one-time leaves of the key ${name} (counters are not carried by git)`,
  );
}

function refused(code: 'leaves-missing' | 'leaves-copied' | 'leaves-behind', what: string): WorkspaceError {
  return new WorkspaceError(
    code,
    `${what}; signing here could use a leaf twice, and two signatures by one leaf let anybody forge; nothing was signed`,
    {
      hint: 'sign in the copy where the key was made; if that is lost, retire this key: make another signer with a higher --generation and have units refuse the old one. A leaf counter cannot be claimed',
    },
  );
}

function usedUp(name: string, { capacity }: LeafState): WorkspaceError {
  return new WorkspaceError(
    'leaves-used-up',
    `the key ${name} has made all of its ${capacity} signatures and can never make another; nothing was signed`,
    { hint: 'make another signer: fieldseal signer create NAME --algorithm hss-lms' },
  );
}

function startedBefore(name: string): WorkspaceError {
  return new WorkspaceError('name-taken', `one-time leaves of a key ${name} were started here before`, {
    hint: 'choose another name for the key; leaves are never started twice',
  });
}

/** Where a counter lives: a copy of it has other inodes; one made of hard links has another folder. */
type Place = { readonly inode: string; readonly born_ns: string; readonly folder_inode: string };

interface CounterFile {
  readonly fingerprint: string;
  readonly lineage: string;
  readonly place: Place;
}

function placeOf(workspace: Workspace, name: string): Place {
  const mark = workspace.files.identity(placePath(workspace, name));
  return { ...mark, folder_inode: workspace.files.identity(spentFolder(workspace, name)).inode };
}

// Some file systems keep no time of birth: they give 0.
function samePlace(found: Place, wanted: Place): boolean {
  const agesKnown = found.born_ns !== '0' && wanted.born_ns !== '0';
  const sameInodes = found.inode === wanted.inode && found.folder_inode === wanted.folder_inode;
  return sameInodes && (!agesKnown || found.born_ns === wanted.born_ns);
}

function readCounterFile(workspace: Workspace, name: string): CounterFile | undefined {
  const path = counterPath(workspace, name);
  if (!workspace.files.exists(path)) return undefined;
  const content = parse(workspace.files.readText(path));
  const { format, fingerprint, lineage, place } = content ?? {};
  const { inode, born_ns, folder_inode } = (place ?? {}) as Partial<Place>;
  const texts = [fingerprint, lineage, inode, born_ns, folder_inode].every(
    (value) => typeof value === 'string',
  );
  if (format === LEAVES_FORMAT && texts) return content as unknown as CounterFile;
  throw refused('leaves-missing', `${workspace.show(path)} is damaged`);
}

function parse(text: string): JsonObject | undefined {
  try {
    return JSON.parse(text) as JsonObject;
  } catch {
    return undefined;
  }
}

function spentLeaves(workspace: Workspace, name: string): bigint[] {
  return workspace.files
    .list(spentFolder(workspace, name))
    .filter((file) => LEAF_NAME.test(file))
    .map(BigInt);
}

function leavesPath(workspace: Workspace, name: string, ...below: string[]): string {
  return workspace.path('private', 'leaves', name, ...below);
}

function spentFolder(workspace: Workspace, name: string): string {
  return leavesPath(workspace, name, 'spent');
}

function leafPath(workspace: Workspace, name: string, leaf: bigint): string {
  return leavesPath(workspace, name, 'spent', String(leaf).padStart(DIGITS, '0'));
}

function placePath(workspace: Workspace, name: string): string {
  return leavesPath(workspace, name, 'place');
}

function counterPath(workspace: Workspace, name: string): string {
  return leavesPath(workspace, name, 'counter.json');
}
