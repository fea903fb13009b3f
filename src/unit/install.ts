import { type ByteSource, equal } from '../bytes/index.ts';
import { equalInConstantTime } from '../crypto/index.ts';
import { judgeImage as judgeOffered } from './check/image.ts';
import { FlashError } from './flash.ts';
import { type Board, isStaged, protectedSlot, slotName, viewOf } from './life-board.ts';
import { EMPTY_SLOT, type Marks, withSlot } from './marks.ts';
import type { InstallPlan, InstallRequest } from './ports.ts';
import type { RefusalCode } from './refusals.ts';
import { areaHolds, digestOfStart, fillSlot, replaceArea, restIs, spanSource } from './slots.ts';
import type { StepName } from './steps.ts';
import type { Question, Trace } from './trace.ts';
import { decide, type Verdict } from './verdict.ts';

const INSTALL_STEPS: readonly StepName[] = [
  'envelope',
  'signer',
  'authentication',
  'manifest',
  'freshness',
  'identity',
  'fit',
  'content',
  'image',
  'commit',
];

/** The outcome of an install. */
export interface InstallResult extends Verdict {
  /** Name of the slot that is ready now, or holds the same release already; null where there is none. */
  readonly slot: string | null;
}

/** An accepted envelope with an image, and the slot it goes to. */
interface Job {
  readonly board: Board;
  readonly trace: Trace;
  readonly plan: InstallPlan;
  readonly source: ByteSource;
  readonly slot: number;
}

/**
 * Decides about an envelope and, where it is accepted, fills the free slot and marks it ready (steps 1 to 10).
 * A refusal in steps 1 to 7 programs nothing; a later one leaves the running slot and its marks as they were.
 * The same release again resumes an unfinished install, or is "already there". Throws `PowerCut`.
 */
export function install(board: Board, request: InstallRequest): InstallResult {
  let slot: number | undefined;
  const verdict = decide('unit', INSTALL_STEPS, (trace) => {
    const before = board.journal.marks;
    const running = before && protectedSlot(board, before);
    const plan = board.decision.judgeInstall(trace, request, viewOf(board, before, running));
    trace.enter('content');
    guard(trace, 'flash-failed', { what: 'marks', source: 'RFC 9019 3' }, () => board.journal.settle());
    const marks = board.journal.marks!;
    const holder = holderOf(marks, plan);
    if (plan.effect === 'already there' && holder !== undefined) {
      slot = holder;
      return noteAlreadyThere(trace, slotName(board, holder), plan);
    }
    const { source } = plan.image;
    if (!source) return;
    const job = { board, trace, plan, source, slot: holder ?? freeSlot(board, running) };
    bringIn(job, marks);
    judgeImage(job);
    commit(job);
    slot = job.slot;
  });
  return { ...verdict, slot: slot === undefined ? null : slotName(board, slot) };
}

/** The slot that holds the same manifest, complete or not. */
function holderOf(marks: Marks, plan: InstallPlan): number | undefined {
  const index = marks.slots.findIndex(
    ({ state, manifestDigest }) => state !== 'empty' && equal(manifestDigest, plan.manifestDigest),
  );
  return index < 0 ? undefined : index;
}

function freeSlot(board: Board, running: number | undefined): number {
  if (isStaged(board)) return 1;
  return running === 0 ? 1 : 0;
}

/** The same release is on board: nothing is programmed. An image that came along is judged all the same. */
function noteAlreadyThere(trace: Trace, name: string, { image }: InstallPlan): void {
  if (image.source) judgeOffered(trace, image, image.source);
  for (const step of image.source ? (['commit'] as const) : (['content', 'image', 'commit'] as const)) {
    trace.skip(step, {
      what: 'the same manifest',
      found: `in slot ${name}; nothing is programmed`,
      source: 'docs/deployment-profile.md',
    });
  }
}

/** Step 8: fills the slot, from the last checkpoint where the same release was begun there before. */
function bringIn(job: Job, marks: Marks): void {
  const { board, trace, plan, source, slot } = job;
  requireAnnouncedLength(trace, source.size, plan.image.size);
  const span = board.layout.slots[slot]!;
  const from = resumedFrom(marks, slot, plan);
  guard(trace, 'flash-failed', { what: 'filling', source: 'RFC 9019 3' }, () => {
    if (from === undefined) markFilling(job, marks);
    fillSlot(board.flash, span, source, plan.image.size, {
      from: from ?? 0,
      checkpoint: (progress) => board.journal.write({ ...board.journal.marks!, progress }),
    });
    replaceArea(board.flash, board.layout.envelopes[slot]!, plan.storedEnvelope);
  });
  const pages = Math.ceil(plan.image.size / board.flash.geometry.erase_page);
  trace.holds({
    what: `slot ${slotName(board, slot)} is filled`,
    expected: () => `${plan.image.size} bytes in ${pages} pages, the rest erased`,
    found: from === undefined ? 'all of it' : `all of it, resumed at page ${from}`,
    source: 'draft-ietf-suit-manifest 6.3.1, 8.4.10.4',
  });
}

/** An image of another length is refused before the slot is touched (RFC 9124 section 4.3.15). */
function requireAnnouncedLength(trace: Trace, found: number, announced: number): void {
  if (found === announced) return;
  trace.enter('image');
  trace.refuse('image-length-wrong', {
    what: 'length of the image at hand',
    expected: announced,
    found,
    source: 'RFC 9124 4.3.15',
  });
}

function resumedFrom(marks: Marks, slot: number, plan: InstallPlan): number | undefined {
  const { state, manifestDigest, sequenceNumber } = marks.slots[slot]!;
  const same = sequenceNumber === plan.sequenceNumber && equal(manifestDigest, plan.manifestDigest);
  return state === 'filling' && same ? marks.progress : undefined;
}

function markFilling({ board, plan, slot }: Job, marks: Marks): void {
  const { sequenceNumber, manifestDigest } = plan;
  const mark = { state: 'filling', sequenceNumber, manifestDigest, envelopeLength: 0 } as const;
  board.journal.write({ ...withSlot(marks, slot, mark), progress: 0 });
}

/** Step 9: reads the slot back. A slot with another image than the one announced counts as empty from then on. */
function judgeImage(job: Job): void {
  const { board, trace, plan, slot } = job;
  trace.enter('image');
  const content = spanSource(board.flash, board.layout.slots[slot]!);
  const found = digestOfStart(content, plan.image.size);
  const question = {
    what: `SHA-256 of the image read back from slot ${slotName(board, slot)}, compared in constant time`,
    expected: plan.image.digest,
    found,
    source: 'draft-ietf-suit-manifest 8.4.9.2; RFC 9124 4.3.15',
  };
  if (!equalInConstantTime(found, plan.image.digest)) {
    release(job);
    trace.refuse('image-digest-wrong', question);
  }
  trace.holds(question);
  requireClean(job, content);
}

/** Behind image and kept envelope there must be nothing that was not sealed. */
function requireClean(job: Job, content: ByteSource): void {
  const { board, trace, plan, slot } = job;
  const { erased_value: erased } = board.flash.geometry;
  const clean =
    restIs(content, plan.image.size, erased) &&
    areaHolds(board.flash, board.layout.envelopes[slot]!, plan.storedEnvelope);
  const question = {
    what: 'rest of the slot, and the envelope kept for start-up',
    expected: 'erased behind the image; the envelope as it was checked',
    found: clean ? 'so' : 'something else',
    source: 'RFC 9124 4.3.15; draft-ietf-suit-manifest 4.2',
  };
  if (!clean) release(job);
  trace.require(clean, 'image-length-wrong', question);
}

/** Where even this mark cannot be written the slot stays as filling, which never starts either. */
function release({ board, slot }: Job): void {
  try {
    board.journal.write({ ...withSlot(board.journal.marks!, slot, EMPTY_SLOT), progress: 0 });
  } catch (error) {
    if (!(error instanceof FlashError)) throw error;
  }
}

/** Step 10: one mark makes the slot ready; before it nothing counts, after it everything does. */
function commit({ board, trace, plan, slot }: Job): void {
  trace.enter('commit');
  const { sequenceNumber, manifestDigest } = plan;
  const envelopeLength = plan.storedEnvelope.length;
  const question = {
    what: `mark of slot ${slotName(board, slot)}`,
    expected: 'ready',
    source: 'draft-ietf-suit-manifest 6.3.1',
  };
  guard(trace, 'mark-not-written', question, () => {
    const mark = { state: 'ready', sequenceNumber, manifestDigest, envelopeLength } as const;
    board.journal.write({ ...withSlot(board.journal.marks!, slot, mark), progress: 0 });
  });
  trace.holds({ ...question, found: 'ready' });
  if (!isStaged(board)) return;
  trace.note({
    what: 'way back',
    found: board.recovery
      ? 'the next start replaces the running image; from then on only the recovery image can take its place'
      : 'the next start replaces the running image, and this unit has no recovery image: there is no way back',
    source: 'RFC 9019 4.1',
  });
}

/** Turns flash that does not take an order into a refusal. */
function guard(trace: Trace, code: RefusalCode, question: Question, body: () => void): void {
  try {
    body();
  } catch (error) {
    if (!(error instanceof FlashError)) throw error;
    trace.refuse(code, { ...question, found: error.message });
  }
}
