import { FlashError } from './flash.ts';
import type { Board } from './life-board.ts';
import { candidates, fallenWithout, judgeSlot, slotName } from './life-board.ts';
import { type Marks, withSlot } from './marks.ts';
import type { Floors } from './state.ts';
import type { Trace } from './trace.ts';
import { decide, type Verdict } from './verdict.ts';

/** The outcome of keeping an image or raising floors. */
export interface KeepResult extends Verdict {
  /** True where the unit had done so before; nothing is programmed then. */
  readonly already: boolean;
  readonly floors: Floors | null;
}

/**
 * Keeps the running image on trial (step 12), whose self-test passed: one mark makes it kept and raises the sequence
 * floor to its number and the security floor to its security version. Again on a kept image it changes nothing,
 * but verifies it all the same: marks that were set back may call an image kept that is not in the slot.
 * Throws `PowerCut`.
 */
export function keep(board: Board): KeepResult {
  let already = false;
  const verdict = decide('unit', ['keep'], (trace) => {
    trace.enter('keep');
    const { slot, marks } = requireRunning(board, trace);
    const { facts } = judgeSlot(board, marks, slot, marks.floors);
    if (!facts)
      return refuseStranding(trace, `the image in slot ${slotName(board, slot)} no longer verifies`);
    already = marks.slots[slot]!.state === 'kept';
    if (already) return noteKept(trace, slotName(board, slot));
    trace.facts.sequenceNumber = facts.sequenceNumber;
    trace.facts.securityVersion = facts.securityVersion;
    const { manifestDigest } = marks.slots[slot]!;
    commit(board, trace, {
      ...withSlot(marks, slot, { ...marks.slots[slot]!, state: 'kept' }),
      floors: raised(marks.floors, facts),
      fallen: fallenWithout(marks, manifestDigest),
    });
  });
  return { ...verdict, already, floors: board.journal.marks?.floors ?? null };
}

/**
 * Raises floors; none ever falls. Refused while no slot would be left that may start: the recovery image does
 * not count, it only fetches. Throws `PowerCut`.
 */
export function raiseFloors(board: Board, floors: Partial<Floors>): KeepResult {
  let already = false;
  const verdict = decide('unit', ['keep'], (trace) => {
    trace.enter('keep');
    const { marks } = board.journal;
    if (!marks) return refuseStranding(trace, 'the marks of the unit cannot be read');
    const next = raised(marks.floors, floors);
    already = sameFloors(next, marks.floors);
    if (already) return noteFloors(trace, marks.floors, next);
    const left = candidates(marks).some((slot) => !judgeSlot(board, marks, slot, next).refusal);
    if (!left) return refuseStranding(trace, 'no slot would verify under the new floors');
    commit(board, trace, { ...marks, floors: next });
  });
  return { ...verdict, already, floors: board.journal.marks?.floors ?? null };
}

function requireRunning(board: Board, trace: Trace): { slot: number; marks: Marks } {
  const { running } = board.memory;
  const { marks } = board.journal;
  const state = marks && typeof running === 'number' ? marks.slots[running]!.state : 'none';
  trace.require(state === 'on trial' || state === 'kept', 'nothing-on-trial', {
    what: 'running image',
    expected: 'on trial',
    found: typeof running === 'number' ? `slot ${slotName(board, running)}: ${state}` : (running ?? 'none'),
    source: 'docs/deployment-profile.md',
  });
  return { slot: running as number, marks: marks! };
}

function noteKept(trace: Trace, name: string): void {
  trace.note({
    what: `mark of slot ${name}`,
    expected: 'kept',
    found: 'kept already; nothing is programmed',
    source: 'docs/deployment-profile.md',
  });
}

function refuseStranding(trace: Trace, found: string): never {
  return trace.refuse('floor-would-strand', {
    what: 'images that may start afterwards',
    expected: 'one at least',
    found,
    source: 'RFC 9019 4.1; docs/deployment-profile.md',
  });
}

/** Written twice: a damaged record then takes no floor down with it. The first one is what counts. */
function commit(board: Board, trace: Trace, marks: Marks): void {
  const before = board.journal.marks!.floors;
  try {
    board.journal.write(marks);
    board.journal.write(marks);
  } catch (error) {
    if (!(error instanceof FlashError)) throw error;
    refuseStranding(trace, `the mark cannot be written: ${error.message}`);
  }
  noteFloors(trace, before, marks.floors);
}

function noteFloors(trace: Trace, before: Floors, after: Floors): void {
  const source = 'draft-ietf-suit-manifest 6.1; RFC 9124 4.3.1';
  for (const [what, field] of [
    ['floor of the sequence number', 'sequenceNumber'],
    ['floor of the security version', 'securityVersion'],
    ['floor of the signer generation', 'signerGeneration'],
  ] as const) {
    trace.holds({ what, expected: `at least ${before[field]}`, found: after[field], source });
  }
}

function raised(floors: Floors, by: Partial<Floors>): Floors {
  const { sequenceNumber = 0n, securityVersion = 0, signerGeneration = 0 } = by;
  return {
    sequenceNumber: higher(sequenceNumber, floors.sequenceNumber),
    securityVersion: Math.max(securityVersion, floors.securityVersion),
    signerGeneration: Math.max(signerGeneration, floors.signerGeneration),
  };
}

function higher(a: bigint, b: bigint): bigint {
  if (a > b) return a;
  return b;
}

function sameFloors(a: Floors, b: Floors): boolean {
  return (
    a.sequenceNumber === b.sequenceNumber &&
    a.securityVersion === b.securityVersion &&
    a.signerGeneration === b.signerGeneration
  );
}
