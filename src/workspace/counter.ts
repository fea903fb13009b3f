import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { type JsonObject, readableJson } from './canonical.ts';
import type { DeviceClass } from './device-class.ts';
import { WorkspaceError } from './errors.ts';
import { appendEntry, type LedgerEntry, readLedger } from './ledger.ts';
import type { Workspace } from './workspace.ts';

/** Largest sequence number: a signed 64-bit field on a unit holds it. */
export const HIGHEST_NUMBER = 2n ** 63n - 1n;
const DIGITS = 19;
const NUMBER_NAME = /^\d{19}$/;
const COUNTER_FORMAT = 'fieldseal.counter/1';
// 9 September 2001 to the year 5138, counted in milliseconds.
const MILLISECONDS = [10n ** 12n, 10n ** 14n] as const;

/** Name of the counter of a class's trust updates. No class has a '.' in its name. */
export function trustCounter(className: string): string {
  return `${className}.trust`;
}

/** Name of the counter of a class's announcements. */
export function announcementCounter(className: string): string {
  return `${className}.announcement`;
}

/** What is known of a class's sequence counter. */
export interface CounterState {
  /** Lineage of the counter in this copy of the workspace; undefined where there is none. */
  readonly lineage: string | undefined;
  /** Lineage that the ledger says owns the counter; undefined before the first. */
  readonly owner: string | undefined;
  /** Highest number taken here. */
  readonly last: bigint;
  /** Highest number that the ledger or a release record names, and which of them names it. */
  readonly witnessed: { readonly number: bigint; readonly by: string };
}

/** The highest number taken in this copy of the workspace; 0 before the first. Without a look at the ledger. */
export function highestTaken(workspace: Workspace, className: string): bigint {
  const taken = takenNumbers(workspace, className).at(-1) ?? 0n;
  return higher(readLocal(workspace, className)?.above ?? 0n, taken);
}

/** A number that is used from now on, whatever becomes of the payload. */
export interface TakenNumber {
  readonly number: bigint;
  readonly lineage: string;
  /** What the operator should know about this number. */
  readonly cautions: readonly string[];
}

/** How a number is taken. */
export interface TakeOptions {
  /** This number instead of the next one; higher than every number before. */
  sequence?: bigint;
  /** The explicit yes to a step beyond the class's jump limit. */
  allowJump?: boolean;
}

/** Reads the counter of a class without changing anything. */
export function readCounter(workspace: Workspace, className: string): CounterState {
  const entries = readLedger(workspace).filter(({ facts }) => facts.class === className);
  const local = readLocal(workspace, className);
  return {
    lineage: local?.lineage,
    owner: entries
      .flatMap(({ facts }) => (typeof facts.counter_lineage === 'string' ? facts.counter_lineage : []))
      .at(-1),
    last: highestTaken(workspace, className),
    witnessed: highestWitness(workspace, className, entries),
  };
}

/**
 * Takes a sequence number: durable before this returns, never given twice, also when the process is killed or
 * two processes race. The number is made durable by creating one empty file of its name, which only one process
 * can do. Refused where this copy does not own the counter (`counter-missing`, `counter-behind`,
 * `counter-elsewhere`) and for numbers that are used, out of range, or an unconfirmed jump.
 */
export function takeNumber(
  workspace: Workspace,
  deviceClass: DeviceClass,
  options: TakeOptions = {},
): TakenNumber {
  const className = deviceClass.name;
  for (;;) {
    const state = readCounter(workspace, className);
    const number = nextNumber(deviceClass, state, options);
    const lineage = state.owner ?? startCounter(workspace, className);
    if (workspace.files.createMark(numberPath(workspace, className, number))) {
      return { number, lineage, cautions: numberCautions(number) };
    }
    if (options.sequence !== undefined) throw numberUsed(number, number);
  }
}

/** The number that `takeNumber` would take now; refuses as it would, and changes nothing. */
export function foreseeNumber(
  workspace: Workspace,
  deviceClass: DeviceClass,
  options: TakeOptions = {},
): bigint {
  return nextNumber(deviceClass, readCounter(workspace, deviceClass.name), options);
}

/**
 * Uses up, once and for ever, a number that was taken for a sealing request: durable before this returns, also when the
 * process is killed or two processes race. Refused where this copy does not own the counter, or the counter was claimed
 * since (`counter-elsewhere`), and where the number was used up before (`number-used`).
 */
export function spendNumber(
  workspace: Workspace,
  className: string,
  { number, lineage }: Pick<TakenNumber, 'number' | 'lineage'>,
): void {
  requireHeld(workspace, className, lineage);
  workspace.files.makeFolder(spentFolder(workspace, className), { secret: true });
  if (workspace.files.createMark(join(spentFolder(workspace, className), digits(number)))) return;
  throw new WorkspaceError(
    'number-used',
    `the sealing request for number ${number} of class ${className} was used up: it was sealed, or sealing it was begun and broken off`,
    { hint: 'look at "fieldseal request list"; to seal again, make a new request and have it approved' },
  );
}

/** Whether a number taken for a request was used up here. */
export function isSpent(workspace: Workspace, className: string, number: bigint): boolean {
  return workspace.files.exists(join(spentFolder(workspace, className), digits(number)));
}

/** Refuses where this copy does not own the counter, or it is no longer the one of `lineage`. Changes nothing. */
export function requireHeld(workspace: Workspace, className: string, lineage: string): void {
  const state = readCounter(workspace, className);
  requireOwned(className, state);
  if (state.owner === lineage) return;
  throw new WorkspaceError(
    'counter-elsewhere',
    `the counter of class ${className} was claimed since this request was made (lineage ${String(state.owner)}, in the request ${lineage}): its number may have been used elsewhere`,
    { hint: 'make a new request and have it approved' },
  );
}

function nextNumber(deviceClass: DeviceClass, state: CounterState, options: TakeOptions): bigint {
  requireOwned(deviceClass.name, state);
  const number = options.sequence ?? state.last + 1n;
  requireUsable(number, state.last, deviceClass, options);
  return number;
}

/** Starts the counter of a class that has none, at 1, and enters its lineage in the ledger. */
export function startCounter(workspace: Workspace, className: string): string {
  const lineage = readLocal(workspace, className)?.lineage ?? startLocal(workspace, className);
  appendEntry(workspace, 'counter-started', { class: className, counter_lineage: lineage });
  return lineage;
}

/** What a claim states. */
export interface ClaimOptions {
  /** Every number up to this one counts as used. */
  above: bigint;
  /** Why, for the ledger. */
  reason: string;
  allowJump?: boolean;
}

/**
 * Takes over the counter of a class in this copy of the workspace, above a number that the operator states. The
 * ledger gets the claim and a new lineage; any other copy refuses to seal once it sees it. Refused below the
 * highest number known here, and for an unconfirmed jump.
 */
export function claimCounter(
  workspace: Workspace,
  deviceClass: DeviceClass,
  options: ClaimOptions,
): CounterState {
  const className = deviceClass.name;
  const state = readCounter(workspace, className);
  const known = higher(state.witnessed.number, state.last);
  if (options.above < known) {
    throw new WorkspaceError(
      'number-used',
      `number ${known} of class ${className} is known to be used (${witnessText(state)})`,
      {
        hint: `claim above ${known} or higher`,
      },
    );
  }
  requireInRange(options.above);
  requireNoJump(options.above, known, deviceClass, options.allowJump);
  const lineage = randomUUID();
  workspace.files.makeFolder(takenFolder(workspace, className), { secret: true });
  workspace.files.replace(localPath(workspace, className), localJson(className, lineage, options.above));
  appendEntry(workspace, 'counter-claimed', {
    class: className,
    counter_lineage: lineage,
    counter_lineage_before: state.owner ?? null,
    above: String(options.above),
    reason: options.reason,
  });
  return readCounter(workspace, className);
}

interface LocalCounter {
  lineage: string;
  above: bigint;
}

function readLocal(workspace: Workspace, className: string): LocalCounter | undefined {
  const path = localPath(workspace, className);
  if (!workspace.files.exists(path)) return undefined;
  const facts = parseLocal(workspace.files.readText(path));
  if (facts) return facts;
  throw new WorkspaceError(
    'file-damaged',
    `${workspace.show(path)} is damaged: the counter of class ${className} cannot be trusted`,
    {
      hint: `find the highest number ever sealed for ${className}, then: fieldseal counter claim ${className} --above NUMBER --reason TEXT`,
      file: path,
    },
  );
}

function parseLocal(text: string): LocalCounter | undefined {
  try {
    const { format, lineage, above } = JSON.parse(text) as Record<string, unknown>;
    if (format !== COUNTER_FORMAT || typeof lineage !== 'string' || typeof above !== 'string')
      return undefined;
    return /^\d{1,19}$/.test(above) ? { lineage, above: BigInt(above) } : undefined;
  } catch {
    return undefined;
  }
}

function startLocal(workspace: Workspace, className: string): string {
  workspace.files.makeFolder(takenFolder(workspace, className), { secret: true });
  workspace.files.createNew(localPath(workspace, className), localJson(className, randomUUID(), 0n));
  // Another process may have been first: what stands in the file counts.
  return readLocal(workspace, className)!.lineage;
}

function localJson(className: string, lineage: string, above: bigint): string {
  return readableJson({ format: COUNTER_FORMAT, class: className, lineage, above: String(above) });
}

function requireOwned(className: string, state: CounterState): void {
  // A class that nothing is on record of was written by hand: its counter starts with its first number.
  if (state.owner === undefined && state.witnessed.number === 0n) return;
  const claim = `only if no other copy of this workspace will ever seal ${className} again: fieldseal counter claim ${className} --above NUMBER --reason TEXT`;
  if (state.lineage === undefined || state.owner === undefined) {
    throw new WorkspaceError(
      'counter-missing',
      `this copy of the workspace holds no sequence counter for class ${className} (counters are not carried by git); ` +
        `a number sealed here might be one that another copy has used (${witnessText(state)})`,
      { hint: `seal in the copy that holds the counter; ${claim}` },
    );
  }
  if (state.lineage !== state.owner) {
    throw new WorkspaceError(
      'counter-elsewhere',
      `the counter of class ${className} was claimed by another copy of this workspace (lineage ${state.owner}, here ${state.lineage})`,
      { hint: `seal in that copy; ${claim}` },
    );
  }
  if (state.witnessed.number > state.last) {
    throw new WorkspaceError(
      'counter-behind',
      `the counter of class ${className} stands at ${state.last}, but ${witnessText(state)}: it was set back or restored from a backup`,
      { hint: claim },
    );
  }
}

function requireUsable(number: bigint, last: bigint, deviceClass: DeviceClass, options: TakeOptions): void {
  if (number <= last) throw numberUsed(number, last);
  requireInRange(number);
  requireNoJump(number, last, deviceClass, options.allowJump);
}

function requireInRange(number: bigint): void {
  if (number >= 0n && number <= HIGHEST_NUMBER) return;
  throw new WorkspaceError('number-out-of-range', `${number} is not a usable sequence number`, {
    hint: `use a whole number up to ${HIGHEST_NUMBER}; units never take a lower number after a higher one`,
  });
}

function requireNoJump(number: bigint, last: bigint, deviceClass: DeviceClass, allowed = false): void {
  if (allowed || number - last <= deviceClass.jumpLimit) return;
  throw new WorkspaceError(
    'number-jump',
    `${number} is ${number - last} above the last number ${last}, more than the jump limit ${deviceClass.jumpLimit} of class ${deviceClass.name}; ` +
      'once a unit keeps it, no lower number is ever accepted there' +
      numberCautions(number)
        .map((caution) => `; ${caution}`)
        .join(''),
    { hint: 'check the number; if it is meant, say so with --allow-jump' },
  );
}

function numberUsed(number: bigint, last: bigint): WorkspaceError {
  return new WorkspaceError(
    'number-used',
    `sequence number ${number} cannot be used: the last one taken is ${last}`,
    {
      hint: `leave --sequence out for the next number, or give one above ${last}`,
    },
  );
}

function numberCautions(number: bigint): string[] {
  const [from, to] = MILLISECONDS;
  if (number < from || number >= to) return [];
  return [
    `${number} looks like a time in milliseconds: after it no number counted in seconds is ever accepted`,
  ];
}

function highestWitness(
  workspace: Workspace,
  className: string,
  entries: readonly LedgerEntry[],
): CounterState['witnessed'] {
  const found = [
    ...entries.map((entry) => ({ number: numberIn(entry.facts), by: `ledger entry ${entry.number}` })),
    ...workspace.files.list(workspace.path('releases', className)).map((name) => ({
      number: BigInt(/^(\d{1,19})\.json$/.exec(name)?.[1] ?? 0),
      by: `releases/${className}/${name}`,
    })),
  ];
  return found.reduce((highest, next) => (next.number > highest.number ? next : highest), {
    number: 0n,
    by: 'nothing',
  });
}

function numberIn(facts: JsonObject): bigint {
  const text = String(facts.sequence_number ?? facts.above ?? '');
  return /^\d{1,19}$/.test(text) ? BigInt(text) : 0n;
}

function witnessText({ witnessed }: CounterState): string {
  return witnessed.number === 0n
    ? 'no number is on record'
    : `${witnessed.by} names number ${witnessed.number}`;
}

function takenNumbers(workspace: Workspace, className: string): bigint[] {
  return workspace.files
    .list(takenFolder(workspace, className))
    .filter((name) => NUMBER_NAME.test(name))
    .map(BigInt);
}

function higher(a: bigint, b: bigint): bigint {
  return a > b ? a : b;
}

function takenFolder(workspace: Workspace, className: string): string {
  return workspace.path('private', 'counters', className, 'taken');
}

function numberPath(workspace: Workspace, className: string, number: bigint): string {
  return join(takenFolder(workspace, className), digits(number));
}

function spentFolder(workspace: Workspace, className: string): string {
  return workspace.path('private', 'counters', className, 'spent');
}

function digits(number: bigint): string {
  return String(number).padStart(DIGITS, '0');
}

function localPath(workspace: Workspace, className: string): string {
  return workspace.path('private', 'counters', className, 'counter.json');
}
