import type { ByteSource } from '../bytes/index.ts';
import { COPY } from './code-table.ts';
import { FILE_HEADER } from './header.ts';
import { DELTA_LIMITS, requireSize } from './limits.ts';
import { MatchFinder, PrecursorIndex, type Range } from './matches.ts';
import { planWindow } from './plan.ts';
import type { Step } from './step.ts';
import { writeWindow } from './write-window.ts';

/** Size of a target window in bytes, and so of the buffer a device needs, where the caller names none. */
export const DEFAULT_WINDOW_SIZE = 64 * 1024;

export interface DeltaRequest {
  /** The image that the device runs. */
  precursor: ByteSource;
  /** The image that it shall run. */
  target: ByteSource;
  /** Largest target window in bytes; at most the 'targetWindow' limit. */
  windowSize?: number;
}

/**
 * Makes a delta that turns the precursor into the target (RFC 3284): plain, without VCD_TARGET windows, the same
 * bytes for the same input. Yields the header, then each window. Holds the precursor, 16 bytes of index for each of
 * its bytes, and one window in memory. Throws `DeltaError` 'too-large' and, for a wrong window size, `RangeError`.
 */
export function* makeDelta({
  precursor,
  target,
  windowSize = DEFAULT_WINDOW_SIZE,
}: DeltaRequest): Generator<Uint8Array> {
  const { targetWindow, target: wholeTarget, precursor: wholePrecursor } = DELTA_LIMITS;
  if (!Number.isInteger(windowSize) || windowSize < 1 || windowSize > targetWindow.value) {
    throw new RangeError(`a target window has 1 to ${targetWindow.value} bytes, not ${windowSize}`);
  }
  requireSize('the precursor', precursor.size, wholePrecursor.value);
  requireSize('the target', target.size, wholeTarget.value);
  yield FILE_HEADER;
  const index = new PrecursorIndex(precursor.read(0, precursor.size));
  let expected = 0;
  for (let offset = 0; offset < target.size; offset += windowSize) {
    const window = target.read(offset, Math.min(windowSize, target.size - offset));
    const { segment, steps, copiedTo } = chooseSteps(index, window, expected);
    yield writeWindow(window, segment, steps);
    expected = copiedTo;
  }
}

/** Plans over the whole precursor, then again over the part that was used: its addresses are shorter. */
function chooseSteps(index: PrecursorIndex, window: Uint8Array, expected: number) {
  const whole = { start: 0, end: index.bytes.length };
  const first = planWindow(new MatchFinder(index, whole, window), expected);
  const segment = usedRange(first, whole.end);
  const steps = planWindow(new MatchFinder(index, segment, window), expected - segment.start);
  return {
    segment,
    steps,
    copiedTo: expectedNext(steps, segment, window.length) ?? expected + window.length,
  };
}

function copiesFrom(steps: readonly Step[], segmentSize: number) {
  return steps.filter((step) => step.type === COPY && step.address < segmentSize) as (Step & {
    type: typeof COPY;
  })[];
}

function usedRange(steps: readonly Step[], precursorSize: number): Range {
  const copies = copiesFrom(steps, precursorSize);
  if (copies.length === 0) return { start: 0, end: 0 };
  return copies.reduce(
    ({ start, end }, { address, length }) => ({
      start: Math.min(start, address),
      end: Math.max(end, address + length),
    }),
    { start: precursorSize, end: 0 },
  );
}

/** Where the precursor goes on behind the window if the last copy from it goes on. */
function expectedNext(steps: readonly Step[], segment: Range, windowSize: number): number | undefined {
  const last = copiesFrom(steps, segment.end - segment.start).at(-1);
  return last && segment.start + last.address + windowSize - last.position;
}
