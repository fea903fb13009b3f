import { type ByteSource, equal, slice } from '../bytes/index.ts';
import { equalInConstantTime } from '../crypto/index.ts';
import { DeltaError } from '../delta/index.ts';
import { judgeDelta, withDeltaErrors } from './check/delta.ts';
import type { Ciphertext } from './check/encryption.ts';
import {
  judgeCiphertext,
  judgeCiphertextDigest,
  judgeCiphertextLength,
  judgeDecrypted,
  refuseDecryption,
} from './check/encryption.ts';
import { isWhole, judgeOffered } from './check/for-unit.ts';
import { type DecryptingSource, decryptingSource } from './decrypting.ts';
import { FlashError } from './flash.ts';
import { guard } from './flash-guard.ts';
import type { FlashSpan } from './flash-layout.ts';
import { installPolicy } from './install-policy.ts';
import {
  type Board,
  fallenOnceMore,
  furtherOf,
  isStaged,
  protectedSlot,
  slotName,
  viewOf,
} from './life-board.ts';
import { EMPTY_SLOT, type Marks, withSlot } from './marks.ts';
import type { InstallPlan, InstallRequest } from './ports.ts';
import { areaHolds, digestOfStart, fillSlot, replaceArea, restIs, spanSource } from './slots.ts';
import type { StepName } from './steps.ts';
import type { Trace } from './trace.ts';
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
    if ('trust' in plan) return installPolicy(board, trace, plan);
    try {
      slot = carryOut(board, trace, plan, running);
    } finally {
      plan.ciphertext?.content.key.fill(0);
    }
  });
  return { ...verdict, slot: slot === undefined ? null : slotName(board, slot) };
}

/** Steps 8 to 10. Gives the slot that is ready, or holds the same release already; undefined where the image is absent. */
function carryOut(
  board: Board,
  trace: Trace,
  plan: InstallPlan,
  running: number | undefined,
): number | undefined {
  trace.enter('content');
  guard(trace, 'flash-failed', { what: 'marks', source: 'RFC 9019 3' }, () => board.journal.settle());
  const marks = board.journal.marks!;
  const holder = holderOf(marks, plan);
  if (plan.effect === 'already there' && holder !== undefined) {
    noteAlreadyThere(trace, slotName(board, holder), plan);
    return holder;
  }
  if (!isWhole(plan)) return undefined;
  const job = { board, trace, plan, source: plan.image.source!, slot: holder ?? freeSlot(board, running) };
  if (onTheFly(plan)) noteOnTheFly(trace);
  bringIn(job, marks);
  judgeImage(job);
  commit(job);
  return job.slot;
}

/** Whether what is fetched is decrypted before it is known to be the one that was sealed. */
function onTheFly({ ciphertext }: InstallPlan): boolean {
  return ciphertext?.at === 'install';
}

function noteOnTheFly(trace: Trace): void {
  trace.note({
    what: 'protection',
    found:
      'no staging area: the image is decrypted into the free slot before its digest can be compared, so a ciphertext ' +
      'that was altered on the way is written once before it is refused',
    source: 'draft-ietf-suit-firmware-encryption 11; RFC 9459 8',
  });
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
function noteAlreadyThere(trace: Trace, name: string, plan: InstallPlan): void {
  const whole = isWhole(plan);
  if (whole) judgeOffered(trace, plan);
  for (const step of whole ? (['commit'] as const) : (['content', 'image', 'commit'] as const)) {
    trace.skip(step, {
      what: 'the same manifest',
      found: `in slot ${name}; nothing is programmed`,
      source: 'docs/deployment-profile.md',
    });
  }
}

/**
 * Step 8: fills the slot and the areas that go with it, one after the other, from the last checkpoint where the same
 * release was begun there before. Until the one mark of step 10 none of it counts.
 */
function bringIn(job: Job, marks: Marks): void {
  const { board, trace, plan, slot } = job;
  const fills = fillsOf(job);
  const { source } = fills[0]!;
  const begun = resumedFrom(marks, slot, plan);
  const from = begun !== undefined && decrypts(source) && !source.seeks ? 0 : begun;
  guard(trace, 'flash-failed', { what: 'filling', source: 'RFC 9019 3' }, () => {
    if (from === undefined) markFilling(job, marks);
    fill(job, () => fillAll(board, fills, from ?? 0));
    replaceArea(board.flash, board.layout.envelopes[slot]!, plan.storedEnvelope());
  });
  for (const { name, size, pages } of fills) {
    trace.holds({
      what: `${name} is filled`,
      expected: () => `${size} bytes in ${pages} pages, the rest erased`,
      found: from === undefined ? 'all of it' : `all of it, resumed at page ${from}`,
      source: 'draft-ietf-suit-manifest 6.3.1, 8.4.10.4',
    });
  }
  const wrong = decrypts(source) ? source.finish() : undefined;
  if (wrong === undefined) return;
  release(job);
  refuseDecryption(trace, wrong);
}

/** Fills; where a delta turns out not to make the image, the slot counts as empty from then on. */
function fill(job: Job, filling: () => void): void {
  if (!job.plan.delta) {
    filling();
    return;
  }
  withDeltaErrors(job.trace, () => {
    try {
      filling();
    } catch (error) {
      if (error instanceof DeltaError) release(job);
      throw error;
    }
  });
}

/** A part of the flash, and what goes into it. */
interface Fill {
  readonly name: string;
  readonly span: FlashSpan;
  readonly source: ByteSource | DecryptingSource;
  readonly size: number;
  readonly pages: number;
}

/** The slot first, then the areas of further components that belong to it. */
function fillsOf(job: Job): Fill[] {
  const { board, trace, plan, slot } = job;
  const part = (name: string, span: FlashSpan, source: Fill['source'], size: number): Fill => {
    return { name, span, source, size, pages: Math.ceil(size / board.flash.geometry.erase_page) };
  };
  const { source, size } = arriving(job);
  const main = part(`slot ${slotName(board, slot)}`, board.layout.slots[slot]!, source, size);
  const further = furtherOf(board, slot).map((span, i) => {
    const image = plan.further![i]!;
    requireAnnouncedLength(trace, image.source!.size, image.size);
    return part(areaName(board, slot, i), span, image.source!, image.size);
  });
  return [main, ...further];
}

function areaName(board: Board, slot: number, component: number): string {
  return `area of ${board.record.memory.components![component]!.name} for slot ${slotName(board, slot)}`;
}

/** `from`: pages that are complete, counted over all parts; so do the checkpoints. */
function fillAll({ flash, journal }: Board, fills: readonly Fill[], from: number): void {
  const checkpoint = (progress: number) => journal.write({ ...journal.marks!, progress });
  let before = 0;
  for (const [i, { span, source, size, pages }] of fills.entries()) {
    const base = before;
    before += pages;
    if (i < fills.length - 1 && from >= before) continue;
    const own = { from: Math.max(0, from - base), checkpoint: (done: number) => checkpoint(base + done) };
    fillSlot(flash, span, source, size, own);
    if (i < fills.length - 1) checkpoint(before);
  }
}

/** What goes into the slot: the image, a ciphertext that waits there, or what comes out of one or of a delta. Size in bytes. */
function arriving({ trace, plan, source }: Job): { source: ByteSource | DecryptingSource; size: number } {
  const { ciphertext, delta, image } = plan;
  if (delta) return { source: judgeDelta(trace, delta, source), size: image.size };
  if (!ciphertext) {
    requireAnnouncedLength(trace, source.size, image.size);
    return { source, size: image.size };
  }
  if (ciphertext.at === 'start') {
    judgeCiphertextLength(trace, ciphertext, source);
    return { source, size: ciphertext.size };
  }
  judgeCiphertext(trace, ciphertext, source);
  return { source: decryptingSource(source, ciphertext.content), size: image.size };
}

function decrypts(source: ByteSource): source is DecryptingSource {
  return 'finish' in source;
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
  const content = spanSource(board.flash, board.layout.slots[slot]!);
  const { ciphertext } = plan;
  if (ciphertext?.at === 'start') {
    judgeStaged(job, ciphertext, content);
    return;
  }
  trace.enter('image');
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
  for (const [i, span] of furtherOf(board, slot).entries())
    judgeFurther(job, i, spanSource(board.flash, span));
  requireClean(job, content, plan.image.size);
}

/** The image of a further component, read back, and nothing behind it. */
function judgeFurther(job: Job, index: number, content: ByteSource): void {
  const { board, trace, plan, slot } = job;
  const { size, digest } = plan.further![index]!;
  const found = digestOfStart(content, size);
  const same = equalInConstantTime(found, digest);
  const clean = restIs(content, size, board.flash.geometry.erased_value);
  if (!same || !clean) release(job);
  trace.require(same, 'image-digest-wrong', {
    what: `SHA-256 of the image read back from the ${areaName(board, slot, index)}, compared in constant time`,
    expected: digest,
    found,
    source: 'draft-ietf-suit-manifest 8.4.9.2; RFC 9124 4.3.15',
  });
  trace.require(clean, 'image-length-wrong', {
    what: `rest of the ${areaName(board, slot, index)}`,
    expected: 'erased behind the image',
    found: clean ? 'so' : 'something else',
    source: 'RFC 9124 4.3.15',
  });
}

/** A ciphertext is compared where it waits, and decrypted to nowhere, while the running image is still there. */
function judgeStaged(job: Job, ciphertext: Ciphertext, content: ByteSource): void {
  const { trace, board, slot } = job;
  const { size, digest } = ciphertext;
  try {
    const found = digestOfStart(content, size);
    judgeCiphertextDigest(trace, digest!, found, `read back from slot ${slotName(board, slot)}`);
    judgeDecrypted(trace, ciphertext, slice(content, 0, size));
  } catch (error) {
    release(job);
    throw error;
  }
  requireClean(job, content, size);
}

/** Behind image and kept envelope there must be nothing that was not sealed. */
function requireClean(job: Job, content: ByteSource, size: number): void {
  const { board, trace, plan, slot } = job;
  const { erased_value: erased } = board.flash.geometry;
  const clean =
    restIs(content, size, erased) &&
    areaHolds(board.flash, board.layout.envelopes[slot]!, plan.storedEnvelope());
  const question = {
    what: 'rest of the slot, and the envelope kept for start-up',
    expected: 'erased behind the image; the envelope as it was checked',
    found: clean ? 'so' : 'something else',
    source: 'RFC 9124 4.3.15; draft-ietf-suit-manifest 4.2',
  };
  if (!clean) release(job);
  trace.require(clean, 'image-length-wrong', question);
}

/**
 * Where even this mark cannot be written the slot stays as filling, which never starts either. What was decrypted on the
 * fly and came to nothing counts as a try: it cost an erase of the slot, and must not do so without end.
 */
function release({ board, slot, plan }: Job): void {
  const marks = board.journal.marks!;
  const fallen = onTheFly(plan) ? fallenOnceMore(marks, plan.manifestDigest) : marks.fallen;
  try {
    board.journal.write({ ...withSlot(marks, slot, EMPTY_SLOT), progress: 0, fallen });
  } catch (error) {
    if (!(error instanceof FlashError)) throw error;
  }
}

/** Step 10: one mark makes the slot ready; before it nothing counts, after it everything does. */
function commit({ board, trace, plan, slot }: Job): void {
  trace.enter('commit');
  const { sequenceNumber, manifestDigest } = plan;
  const envelopeLength = plan.storedEnvelope().length;
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
