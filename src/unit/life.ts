import type { KeyUnwrapper } from '../cose/index.ts';
import { randomBytes } from '../crypto/index.ts';
import { type BootResult, boot } from './boot.ts';
import { BootLog } from './boot-log.ts';
import type { BootEntry } from './boot-record.ts';
import { judgeInstall } from './check/for-unit.ts';
import { judgeStored } from './check/stored.ts';
import type { Flash } from './flash.ts';
import { PowerCut } from './flash.ts';
import { type FlashLayout, flashLayout } from './flash-layout.ts';
import { type InstallResult, install } from './install.ts';
import { type KeepResult, keep, raiseFloors } from './keep.ts';
import {
  type Board,
  forget,
  protectedSlot,
  type RecoveryImage,
  type VolatileMemory,
  viewOf,
} from './life-board.ts';
import { EMPTY_SLOT, type Marks } from './marks.ts';
import { MarksJournal } from './marks-journal.ts';
import { formOf } from './marks-record.ts';
import type { Decision, InstallRequest } from './ports.ts';
import type { UnitRecord } from './record.ts';
import { SelfCheck, type SelfCheckResult } from './self-check.ts';
import type { Floors, UnitState, UnitView } from './state.ts';
import { emptyState } from './state.ts';

/** What a unit is made of. */
export interface UnitParts {
  readonly record: UnitRecord;
  /** Secret MAC keys by key id in lower-case hexadecimal; empty for the asymmetric scheme. */
  readonly macKeys: ReadonlyMap<string, Uint8Array>;
  /** The unit's own key for its marks, 32 bytes; nobody else has it. */
  readonly marksKey: Uint8Array;
  /** What opens the content keys of encrypted images. Default none. */
  readonly unwrappers?: readonly KeyUnwrapper[];
  readonly flash: Flash;
  /** The judging half; the real one unless a test brings another. */
  readonly decision?: Decision;
  readonly recovery?: RecoveryImage | undefined;
  /** What the unit remembers while it has power; a power cut clears it. */
  readonly memory?: VolatileMemory;
  /** Random bytes for boot seeds; from the crypto room unless a test brings others. */
  readonly random?: (length: number) => Uint8Array;
}

/** A unit and its life: what is offered is decided on, installed, started, kept. Each may throw `PowerCut`. */
export interface Unit {
  readonly record: UnitRecord;
  readonly layout: FlashLayout;
  /** What the unit remembers, as a decision sees it. Undefined where its marks cannot be read. */
  state(): UnitState | undefined;
  /** The unit as `checkForUnit` sees it. */
  view(): UnitView;
  /** All marks, or undefined where none written by this unit stand. */
  marks(): Marks | undefined;
  /** A number that rises with every mark that is written and never falls, for reports to be put in order by. */
  age(): number;
  install(request: InstallRequest): InstallResult;
  /** Starts it, and enters what was decided in its boot log. */
  start(): BootResult;
  /** Lets `ticks` of its self-check pass, up to a finding, which is reacted to as its record says. */
  checkSelf(ticks: number): SelfCheckResult;
  /** Records of its boot log that stand, newest first; empty where it keeps none. */
  boots(): readonly BootEntry[];
  keep(): KeepResult;
  raiseFloors(floors: Partial<Floors>): KeepResult;
}

/** Puts a unit under power. Reads its marks; programs nothing. */
export function openUnit(parts: UnitParts): Unit {
  const { record, macKeys, flash, recovery, unwrappers = [] } = parts;
  const { decision = { judgeInstall, judgeStored }, memory = { running: undefined } } = parts;
  const layout = flashLayout(record.memory);
  const journal = new MarksJournal(flash, layout.state, parts.marksKey, formOf(record.memory));
  const bootLog = layout.bootLog && new BootLog(flash, layout.bootLog, parts.marksKey);
  const board: Board = {
    record,
    macKeys,
    unwrappers,
    flash,
    layout,
    journal,
    decision,
    recovery,
    memory,
    bootLog,
    random: parts.random ?? randomBytes,
  };
  const selfCheck = new SelfCheck(board);
  const view = () => {
    const { marks } = journal;
    return viewOf(board, marks, marks && protectedSlot(board, marks));
  };
  return {
    record,
    layout,
    view,
    state: () => (journal.marks ? view().state : undefined),
    marks: () => journal.marks,
    age: () => journal.age,
    install: (request) => powered(memory, () => install(board, request)),
    start: () => powered(memory, () => boot(board)),
    checkSelf: (ticks) => powered(memory, () => selfCheck.run(ticks)),
    boots: () => bootLog?.entries ?? [],
    keep: () => powered(memory, () => keep(board)),
    raiseFloors: (floors) => powered(memory, () => raiseFloors(board, floors)),
  };
}

/**
 * Writes the first marks of a unit: both slots empty, floors as its record says. Twice, so that a damaged record
 * does not leave the unit without marks. Throws `TypeError` where the unit has marks already.
 */
export function beginLife(record: UnitRecord, flash: Flash, marksKey: Uint8Array): void {
  const { memory } = record;
  const journal = new MarksJournal(flash, flashLayout(memory).state, marksKey, formOf(memory));
  if (journal.marks) throw new TypeError('this unit has marks already');
  const { floors } = emptyState(record);
  const marks: Marks = { slots: [EMPTY_SLOT, EMPTY_SLOT], progress: 0, floors, fallen: [] };
  journal.write(marks);
  journal.write(marks);
}

function powered<T>(memory: VolatileMemory, body: () => T): T {
  try {
    return body();
  } catch (error) {
    if (error instanceof PowerCut) forget(memory);
    throw error;
  }
}
