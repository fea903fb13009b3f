import { equal } from '../bytes/index.ts';
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
  for (const from of resumed && journal.marks!.progress > 0 ? [journal.marks!.progress, 0] : [0]) {
    if (!copy(run, staged, facts, from)) return undefined;
    const marks = withSlot(journal.marks!, RUN, { ...staged, state: 'ready' });
    const judged = judgeInto(run, RUN, marks);
    if (judged.facts) return judged;
  }
  return undefined;
}

function copy(run: StartRun, staged: SlotMark, facts: StoredFacts, from: number): boolean {
  const { flash, layout, journal } = run.board;
  return tryFlash(run, 'moving the staged image into the running slot', () => {
    const filling: SlotMark = { ...staged, state: 'filling', envelopeLength: 0 };
    if (from === 0) journal.write({ ...withSlot(journal.marks!, RUN, filling), progress: 0 });
    fillSlot(flash, layout.slots[RUN], spanSource(flash, layout.slots[STAGING]), facts.imageSize, {
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
