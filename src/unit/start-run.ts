import { FlashError } from './flash.ts';
import { type Board, judgeSlot, type RunningImage, type SlotJudgement, slotName } from './life-board.ts';
import { EMPTY_SLOT, type Marks, withSlot } from './marks.ts';
import type { StoredFacts } from './ports.ts';
import { type Refusal, refusalOf } from './refusals.ts';
import type { Comparison } from './trace.ts';

/** A slot that was not started, and why. */
export interface PassedOver {
  readonly slot: string;
  readonly refusal: Refusal;
}

/** What runs now. */
export interface Started {
  /** Name of the slot, or `recovery`: an image that may only fetch and install. */
  readonly image: string;
  readonly state: 'on trial' | 'kept' | 'recovery';
  /** Null for the recovery image, which has no manifest. */
  readonly facts: StoredFacts | null;
}

/** What was chosen to run. */
export interface Chosen {
  readonly running: RunningImage;
  readonly result: Started;
}

/** One start under way: what was compared so far, and which slots were passed over. */
export interface StartRun {
  readonly board: Board;
  readonly lines: Comparison[];
  readonly passedOver: PassedOver[];
}

/** Verifies a slot and writes down what was compared. A slot that fails is passed over. */
export function judgeInto(run: StartRun, slot: number, marks: Marks): SlotJudgement {
  const judged = judgeSlot(run.board, marks, slot, marks.floors);
  run.lines.push(...judged.step.comparisons);
  if (judged.refusal) run.passedOver.push({ slot: slotName(run.board, slot), refusal: judged.refusal });
  return judged;
}

/** A slot that does not verify counts as empty from now on, so that no later start tries it. */
export function release(run: StartRun, ...slots: readonly number[]): void {
  const marks = slots.reduce((now, slot) => withSlot(now, slot, EMPTY_SLOT), run.board.journal.marks!);
  writeMarks(run, { ...marks, progress: 0 });
}

/** Writes marks; false, with a line, where the state area does not take them. */
export function writeMarks(run: StartRun, marks: Marks): boolean {
  return tryFlash(run, 'marks', () => run.board.journal.write(marks));
}

/** Runs what writes flash; false, with a line, where the flash does not take an order. */
export function tryFlash(run: StartRun, what: string, body: () => void): boolean {
  try {
    body();
    return true;
  } catch (error) {
    if (!(error instanceof FlashError)) throw error;
    run.lines.push({ what, expected: 'written', found: error.message, ok: false, source: 'RFC 9019 3' });
    return false;
  }
}

/** Invokes a verified slot; a ready image is durably on trial before that. Undefined where that mark fails. */
export function invoke(run: StartRun, judged: SlotJudgement): Chosen | undefined {
  const { board } = run;
  const { slot, facts } = judged;
  const marks = board.journal.marks!;
  const mark = marks.slots[slot]!;
  const image = slotName(board, slot);
  if (mark.state === 'kept') return { running: slot, result: { image, state: 'kept', facts: facts! } };
  if (mark.state === 'ready' && !writeMarks(run, withSlot(marks, slot, { ...mark, state: 'on trial' }))) {
    run.passedOver.push({ slot: image, refusal: refusalOf('mark-not-written') });
    return undefined;
  }
  run.lines.push({
    what: `mark of slot ${image}`,
    expected: 'on trial, before the image runs',
    found: 'on trial',
    ok: true,
    source: 'draft-ietf-suit-manifest 6.3.1; RFC 9019 4.1',
  });
  return { running: slot, result: { image, state: 'on trial', facts: facts! } };
}
