import { type ByteSource, equal, slice } from '../bytes/index.ts';
import { contentAlgorithmOf, openInfo } from './check/encryption.ts';
import { decryptingSource } from './decrypting.ts';
import type { SlotJudgement } from './life-board.ts';
import { EMPTY_SLOT, type Marks, type SlotMark, withSlot } from './marks.ts';
import type { StoredFacts } from './ports.ts';
import { fillSlot, replaceArea, spanSource } from './slots.ts';
import { judgeInto, release, type StartRun, tryFlash, writeMarks } from './start-run.ts';

const RUN = 0;
const STAGING = 1;

/**
 * One running slot and a staging area: moves a ready image from staging into the running slot and verifies it there.
 * Marked page by page, so a start after a power cut goes on where this one stopped; staging stays until the moved
 * image is on trial, in one mark. Gives that image, or undefined where there was none to move.
 */
export function moveIn(run: StartRun): SlotJudgement | undefined {
  const { journal } = run.board;
  const marks = journal.marks!;
  const staged = marks.slots[STAGING];
  if (staged.state !== 'ready') return undefined;
  const held = judgeInto(run, STAGING, marks);
  if (!held.facts) return giveUp(run, marks);
  const moved = copyVerified(run, staged, held.facts);
  if (!moved) return giveUp(run, journal.marks!);
  const onTrial = withSlot(journal.marks!, RUN, { ...staged, state: 'on trial' });
  if (!writeMarks(run, { ...withSlot(onTrial, STAGING, EMPTY_SLOT), progress: 0 })) return undefined;
  noteLoss(run);
  return moved;
}

/** What does not verify in staging never will; a running slot that was being replaced holds nothing whole. */
function giveUp(run: StartRun, marks: Marks): undefined {
  const replaced = marks.slots[RUN].state === 'filling';
  release(run, ...(replaced ? [RUN, STAGING] : [STAGING]));
  return undefined;
}

/** Copies, and copies once more from the beginning where what an earlier start had copied has changed since. */
function copyVerified(run: StartRun, staged: SlotMark, facts: StoredFacts): SlotJudgement | undefined {
  const { journal } = run.board;
  const before = journal.marks!.slots[RUN];
  const resumed = before.state === 'filling' && equal(before.manifestDigest, staged.manifestDigest);
  const goesOn = resumed && journal.marks!.progress > 0 && !mustRestart(run, facts);
  for (const from of goesOn ? [journal.marks!.progress, 0] : [0]) {
    if (!copy(run, staged, facts, from)) return undefined;
    const marks = withSlot(journal.marks!, RUN, { ...staged, state: 'ready' });
    const judged = judgeInto(run, RUN, marks);
    if (judged.facts) return judged;
  }
  return undefined;
}

/** An authenticated ciphertext is decrypted from its beginning; AES-CTR from any page. */
function mustRestart(run: StartRun, { ciphertext }: StoredFacts): boolean {
  return ciphertext !== undefined && contentAlgorithmOf(run.board).mode === 'aead';
}

function copy(run: StartRun, staged: SlotMark, facts: StoredFacts, from: number): boolean {
  const held = spanSource(run.board.flash, run.board.layout.slots[STAGING]);
  const { ciphertext } = facts;
  if (!ciphertext) return move(run, staged, { source: held, size: facts.imageSize }, from);
  const opened = openInfo(ciphertext.info, run.board);
  if (!opened.ok) return false;
  try {
    const source = decryptingSource(slice(held, 0, ciphertext.size), opened.content);
    const moved = move(run, staged, { source, size: facts.imageSize }, from);
    const wrong = moved ? source.finish() : undefined;
    noteDecrypted(run, moved, wrong);
    return moved && wrong === undefined;
  } finally {
    opened.content.key.fill(0);
  }
}

function noteDecrypted({ lines }: StartRun, moved: boolean, wrong: string | undefined): void {
  if (!moved) return;
  lines.push({
    what: 'decryption of the staged image into the running slot',
    expected: 'whole',
    found: wrong ?? 'whole',
    ok: wrong === undefined,
    source: 'draft-ietf-suit-firmware-encryption 4, 7.2',
  });
}

function move(
  run: StartRun,
  staged: SlotMark,
  { source, size }: { source: ByteSource; size: number },
  from: number,
): boolean {
  const { flash, layout, journal } = run.board;
  return tryFlash(run, 'moving the staged image into the running slot', () => {
    const filling: SlotMark = { ...staged, state: 'filling', envelopeLength: 0 };
    if (from === 0) journal.write({ ...withSlot(journal.marks!, RUN, filling), progress: 0 });
    fillSlot(flash, layout.slots[RUN], source, size, {
      from,
      checkpoint: (progress) => journal.write({ ...journal.marks!, progress }),
    });
    const envelope = flash.read(layout.envelopes[STAGING].offset, staged.envelopeLength);
    replaceArea(flash, layout.envelopes[RUN], envelope);
  });
}

function noteLoss({ board, lines }: StartRun): void {
  lines.push({
    what: 'way back',
    found: board.recovery
      ? 'the former image is gone; if this one is not kept, the recovery image starts'
      : 'the former image is gone and there is no recovery image: if this one fails, only service helps',
    ok: null,
    source: 'RFC 9019 4.1',
  });
}
