import { equal } from '../bytes/index.ts';
import type { KeyUnwrapper } from '../cose/index.ts';
import { equalInConstantTime } from '../crypto/index.ts';
import type { BootLog } from './boot-log.ts';
import type { Flash } from './flash.ts';
import type { FlashLayout, FlashSpan } from './flash-layout.ts';
import { FALLEN_LIMIT, type Marks, type SlotMark, TRIES_LIMIT } from './marks.ts';
import type { MarksJournal } from './marks-journal.ts';
import { readTrust } from './policy-area.ts';
import type { Decision, StoredFacts } from './ports.ts';
import type { UnitRecord } from './record.ts';
import type { Refusal } from './refusals.ts';
import type { SelfCheckMemory } from './self-check-memory.ts';
import { digestOfStart, restIs, spanSource } from './slots.ts';
import { emptyState, type Floors, type SlotView, type UnitState, type UnitView } from './state.ts';
import { type CheckStep, Trace } from './trace.ts';
import { refusalRaisedBy } from './verdict.ts';

/** What runs: a slot by its index, or the recovery image. */
export type RunningImage = number | 'recovery';

/** One start of a unit, told from the others. */
export interface BootSession {
  /** How often the unit was started, this time included; undefined where it keeps no count. */
  readonly count: number | undefined;
  /** Random, no secret (RFC 9711 section 4.2.13). */
  readonly seed: Uint8Array;
}

/** Memory that a power cut clears. */
export interface VolatileMemory {
  running: RunningImage | undefined;
  /** Of the start that `running` came from. */
  boot?: BootSession | undefined;
  /** What the self-check of `running` goes by. */
  check?: SelfCheckMemory | undefined;
}

/** Forgets what ran: the power went, or the unit was stopped. */
export function forget(memory: VolatileMemory): void {
  memory.running = undefined;
  memory.boot = undefined;
  memory.check = undefined;
}

/** The recovery image, as provisioning wrote it down in the locked record. */
export interface RecoveryImage {
  /** Bytes. */
  readonly size: number;
  /** SHA-256, 32 bytes. */
  readonly digest: Uint8Array;
}

/** A unit under power: its flash, what it was given at provisioning, and what it holds in memory. */
export interface Board {
  readonly record: UnitRecord;
  readonly macKeys: ReadonlyMap<string, Uint8Array>;
  readonly unwrappers: readonly KeyUnwrapper[];
  readonly flash: Flash;
  readonly layout: FlashLayout;
  readonly journal: MarksJournal;
  readonly decision: Decision;
  readonly recovery: RecoveryImage | undefined;
  readonly memory: VolatileMemory;
  /** Undefined where the unit keeps none. */
  readonly bootLog: BootLog | undefined;
  /** Random bytes for boot seeds. */
  readonly random: (length: number) => Uint8Array;
}

/** What verifying one slot gave. */
export interface SlotJudgement {
  readonly slot: number;
  readonly facts: StoredFacts | undefined;
  readonly refusal: Refusal | null;
  readonly step: CheckStep;
}

/** Name of a slot, as the memory map gives it. */
export function slotName({ record }: Board, slot: number): string {
  return record.memory.slots[slot]!.name;
}

/** Whether the unit has one running slot and a staging area. */
export function isStaged({ record }: Board): boolean {
  return record.memory.shape === 'staged';
}

/** Slots whose marks say that they hold a whole image, highest sequence number first. */
export function candidates(marks: Marks): number[] {
  return [0, 1]
    .filter((slot) => ['ready', 'on trial', 'kept'].includes(marks.slots[slot]!.state))
    .toSorted((a, b) => (marks.slots[a]!.sequenceNumber > marks.slots[b]!.sequenceNumber ? -1 : 1));
}

/** Verifies what a slot holds, from the memory that would run. `floors`: what it must reach. */
export function judgeSlot(board: Board, marks: Marks, slot: number, floors: Floors): SlotJudgement {
  const mark = marks.slots[slot]!;
  const trace = new Trace(['start']);
  trace.enter('start');
  let facts: StoredFacts | undefined;
  const refusal = refusalRaisedBy(() => {
    const part = board.layout.envelopes[slot]!;
    const question = {
      what: `envelope kept with slot ${slotName(board, slot)}`,
      expected: () => `${mark.envelopeLength} bytes within ${part.size}`,
      source: 'draft-ietf-suit-manifest 4.2; docs/deployment-profile.md',
    };
    trace.require(mark.envelopeLength <= part.size, 'stored-envelope-wrong', question);
    const envelope = spanSource(board.flash, { offset: part.offset, size: mark.envelopeLength });
    const content = spanSource(board.flash, board.layout.slots[slot]!);
    const further = furtherOf(board, slot).map((span) => spanSource(board.flash, span));
    const judged = board.decision.judgeStored(
      trace,
      { slot, envelope, content, ...(further.length > 0 && { further }) },
      viewOf(board, marks),
      floors,
    );
    requireMarked(trace, mark, judged);
    facts = judged;
  });
  if (!refusal) trace.close();
  return { slot, facts: refusal ? undefined : facts, refusal, step: trace.steps[0]! };
}

/** The areas of further components that belong to a slot. */
export function furtherOf({ layout }: Board, slot: number): FlashSpan[] {
  return layout.components.map((areas) => areas[slot]!);
}

/** What was verified must be what the unit marked, not another genuine release that was put in its place. */
function requireMarked(trace: Trace, mark: SlotMark, facts: StoredFacts): void {
  const same =
    equalInConstantTime(facts.manifestDigest, mark.manifestDigest) &&
    facts.sequenceNumber === mark.sequenceNumber;
  trace.require(same, 'stored-envelope-wrong', {
    what: 'manifest that the marks of the slot name',
    expected: mark.manifestDigest,
    found: facts.manifestDigest,
    source: 'docs/deployment-profile.md; RFC 9124 4.3.8',
  });
}

/** Whether the recovery area holds the image that provisioning wrote, and nothing behind it. */
export function recoveryHolds({ flash, layout, recovery }: Board): boolean {
  if (!layout.recovery || !recovery || recovery.size > layout.recovery.size) return false;
  const source = spanSource(flash, layout.recovery);
  const digest = digestOfStart(source, recovery.size);
  return (
    equalInConstantTime(digest, recovery.digest) && restIs(source, recovery.size, flash.geometry.erased_value)
  );
}

/** The unit as a decision sees it. */
export function viewOf(board: Board, marks: Marks | undefined, running?: number): UnitView {
  const { record, macKeys, unwrappers, flash, layout } = board;
  const state = stateOf(board, marks, running);
  const span = state.running === undefined ? undefined : layout.slots[state.running];
  const startable = (securityVersion: number) => startableUnder(board, marks, securityVersion);
  return { record, macKeys, unwrappers, state, precursor: span && spanSource(flash, span), startable };
}

/** Verifies what is on board under the floors as they are, and with another floor of the security version. */
function startableUnder(board: Board, marks: Marks | undefined, securityVersion: number) {
  const starts = (floors: Floors) =>
    marks !== undefined && candidates(marks).some((slot) => !judgeSlot(board, marks, slot, floors).refusal);
  if (!marks) return { before: false, after: false };
  return { before: starts(marks.floors), after: starts({ ...marks.floors, securityVersion }) };
}

function stateOf(board: Board, marks: Marks | undefined, running: number | undefined): UnitState {
  const empty = emptyState(board.record);
  if (!marks) return { ...empty, marksRead: false };
  return {
    ...empty,
    slots: marks.slots.map((mark, slot) => slotView(mark, isStaged(board) && slot === 0)),
    running,
    floors: marks.floors,
    fallen: marks.fallen,
    trust: readTrust(board.flash, board.layout, marks),
    ...(board.layout.components.length > 0 && { kept: () => keptWith(board, marks, running) }),
  };
}

function keptWith({ layout, flash }: Board, { slots }: Marks, running: number | undefined) {
  const mark = running === undefined ? undefined : slots[running];
  if (running === undefined || !mark || mark.state === 'empty') return undefined;
  const { offset, size } = layout.envelopes[running]!;
  return {
    slot: running,
    envelope: spanSource(flash, { offset, size: Math.min(size, mark.envelopeLength) }),
  };
}

/** An image that is being moved into the running slot is on trial from then on: nothing else may come. */
function slotView(mark: SlotMark, runs: boolean): SlotView {
  const { state, manifestDigest, sequenceNumber } = mark;
  if (state === 'empty') return { state };
  return { state: runs && state === 'filling' ? 'on trial' : state, manifestDigest, sequenceNumber };
}

/**
 * The slot that nothing may be written to: the running one, or else the newest kept one that still verifies, or
 * else the one that would start. Undefined where every slot may be filled.
 */
export function protectedSlot(board: Board, marks: Marks): number | undefined {
  if (isStaged(board)) return 0;
  const { running } = board.memory;
  if (typeof running === 'number') return running;
  const order = candidates(marks);
  const kept = order.filter((slot) => marks.slots[slot]!.state === 'kept');
  if (kept.length === 2) {
    return kept.find((slot) => !judgeSlot(board, marks, slot, marks.floors).refusal) ?? kept[0];
  }
  return kept[0] ?? order[0];
}

/** What came to nothing, with one more try of `digest`, latest first. */
export function fallenOnceMore(marks: Marks, manifestDigest: Uint8Array): Marks['fallen'] {
  const tries = Math.min(triesOf(marks, manifestDigest) + 1, TRIES_LIMIT);
  return [{ manifestDigest, tries }, ...fallenWithout(marks, manifestDigest)].slice(0, FALLEN_LIMIT);
}

/** How often a manifest came to nothing. */
export function triesOf(marks: Marks, digest: Uint8Array): number {
  return marks.fallen.find(({ manifestDigest }) => equal(manifestDigest, digest))?.tries ?? 0;
}

/** What fell back, without `digest`. */
export function fallenWithout(marks: Marks, digest: Uint8Array): Marks['fallen'] {
  return marks.fallen.filter(({ manifestDigest }) => !equal(manifestDigest, digest));
}
