import {
  type Board,
  candidates,
  fallenOnceMore,
  isStaged,
  recoveryHolds,
  slotName,
  triesOf,
} from './life-board.ts';
import { EMPTY_SLOT, withSlot } from './marks.ts';
import { type Refusal, refusalOf } from './refusals.ts';
import {
  type Chosen,
  invoke,
  judgeInto,
  type PassedOver,
  release,
  type Started,
  type StartRun,
  tryFlash,
  writeMarks,
} from './start-run.ts';
import { moveIn } from './start-staged.ts';
import type { CheckStep } from './trace.ts';

/** The outcome of a start. */
export interface StartResult {
  readonly verdict: 'accepted' | 'refused';
  /** Set where nothing was started. */
  readonly refusal: Refusal | null;
  readonly started: Started | null;
  /** Slots that were not started and why, in the order in which they were tried. */
  readonly passedOver: readonly PassedOver[];
  readonly steps: readonly CheckStep[];
}

/**
 * Starts a unit (step 11): only slots whose marks this unit wrote, the highest sequence number first, each verified
 * again from the memory that would run. A ready image is marked as on trial before it is invoked; one that is still
 * on trial was not kept and falls back. The recovery image comes last. A start of a kept image programs nothing, so
 * that no restart loop wears the flash. Throws `PowerCut`.
 */
export function start(board: Board): StartResult {
  const run: StartRun = { board, lines: [], passedOver: [] };
  board.memory.running = undefined;
  const chosen = startSlots(run) ?? startRecovery(run);
  board.memory.running = chosen?.running;
  const refusal = chosen ? null : refusalOf('nothing-to-start');
  if (!chosen) {
    const question = { what: 'firmware that may run', expected: 'one image at least', found: 'none' };
    run.lines.push({ ...question, ok: false, source: 'RFC 9019 4.1' });
  }
  return {
    verdict: chosen ? 'accepted' : 'refused',
    refusal,
    started: chosen?.result ?? null,
    passedOver: run.passedOver,
    steps: [{ step: 'start', number: 11, outcome: chosen ? 'passed' : 'refused', comparisons: run.lines }],
  };
}

function startSlots(run: StartRun): Chosen | undefined {
  const { journal } = run.board;
  noteMarks(run);
  if (!journal.marks) return undefined;
  tryFlash(run, 'marks', () => journal.settle());
  const trial = journal.marks.slots.findIndex(({ state }) => state === 'on trial');
  if (trial >= 0) return endTrial(run, trial);
  const moved = isStaged(run.board) ? moveIn(run) : undefined;
  return moved ? invoke(run, moved) : startNewest(run);
}

function noteMarks({ board, lines, passedOver }: StartRun): void {
  const { marks, damaged } = board.journal;
  lines.push({
    what: 'marks in the state area',
    expected: 'written by this unit',
    found: marks ? (damaged > 0 ? `${damaged} newer mark(s) damaged and left out` : 'so') : 'none',
    ok: marks !== undefined && damaged === 0,
    source: 'docs/deployment-profile.md',
  });
  if (marks) return;
  const refusal = refusalOf('marks-unreadable');
  for (const { name } of board.record.memory.slots) passedOver.push({ slot: name, refusal });
}

function startNewest(run: StartRun): Chosen | undefined {
  const { journal } = run.board;
  for (const slot of startable(run)) {
    const judged = judgeInto(run, slot, journal.marks!);
    const chosen = judged.facts && invoke(run, judged);
    if (chosen) return chosen;
    if (journal.marks!.slots[slot]!.state === 'ready') release(run, slot);
  }
  return undefined;
}

/** Nothing runs from a staging area. */
function startable({ board }: StartRun): number[] {
  return candidates(board.journal.marks!).filter((slot) => !(isStaged(board) && slot === 1));
}

/** An image still on trial at a start was not kept: it falls back, unless nothing else could run. */
function endTrial(run: StartRun, trial: number): Chosen | undefined {
  const { journal } = run.board;
  const marks = journal.marks!;
  const other = startable(run)
    .filter((slot) => slot !== trial)
    .map((slot) => judgeInto(run, slot, marks))
    .find(({ facts }) => facts);
  if (!other && !recoveryHolds(run.board)) return tryAgain(run, trial);
  const mark = marks.slots[trial]!;
  const tries = triesOf(marks, mark.manifestDigest) + 1;
  const fallen = fallenOnceMore(marks, mark.manifestDigest);
  writeMarks(run, { ...withSlot(marks, trial, EMPTY_SLOT), fallen });
  const slot = slotName(run.board, trial);
  run.lines.push({
    what: `trial of the image in slot ${slot}`,
    expected: 'kept before the next start',
    found: `not kept; it falls back for time ${tries} of ${run.board.record.trial_attempts}`,
    ok: false,
    source: 'RFC 9019 4.1; draft-ietf-suit-manifest 6.1',
  });
  run.passedOver.push({ slot, refusal: refusalOf('trial-ran-out') });
  return other && invoke(run, other);
}

/** Better the image on trial once more than a unit that does not start at all. */
function tryAgain(run: StartRun, trial: number): Chosen | undefined {
  run.lines.push({
    what: `trial of the image in slot ${slotName(run.board, trial)}`,
    expected: 'kept before the next start',
    found: 'not kept, but nothing else may run: it is started again',
    ok: null,
    source: 'RFC 9019 4.1',
  });
  const judged = judgeInto(run, trial, run.board.journal.marks!);
  return judged.facts && invoke(run, judged);
}

/** Exempt from both floors; it may only fetch and install. */
function startRecovery(run: StartRun): Chosen | undefined {
  if (!run.board.recovery) return undefined;
  const holds = recoveryHolds(run.board);
  run.lines.push({
    what: 'SHA-256 of the recovery image, compared in constant time',
    expected: run.board.recovery.digest,
    found: holds ? 'the same' : 'another, or something behind the image',
    ok: holds,
    source: 'RFC 9019 4.1; docs/deployment-profile.md',
  });
  if (!holds) return undefined;
  return { running: 'recovery', result: { image: 'recovery', state: 'recovery', facts: null } };
}
