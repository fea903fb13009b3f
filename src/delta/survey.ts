import type { ByteSource } from '../bytes/index.ts';
import { Cursor } from './cursor.ts';
import { DeltaError } from './errors.ts';
import { readFileHeader } from './header.ts';
import { type DeltaLimits, limitsWith, requireSize } from './limits.ts';
import { type DeltaWindow, readWindow } from './window.ts';

/** What the window headers of a delta say about applying it. Sizes in bytes. */
export interface DeltaSurvey {
  windows: number;
  /** Size of the image that the delta makes. */
  targetSize: number;
  /** The buffer that applying it needs: its largest target window. */
  largestWindow: number;
  /** How much of the precursor it reaches into: a shorter one cannot be the right one. */
  precursorReach: number;
  /** Whether it copies from earlier windows of the target (VCD_TARGET), so that these must be read back. */
  readsTarget: boolean;
}

/**
 * Reads the header and every window header, not the instructions, so that a device can decide before it erases
 * anything (RFC 3284 sections 4.1 to 4.3). Throws `DeltaError`.
 */
export function surveyDelta(delta: ByteSource, limits?: Partial<DeltaLimits>): DeltaSurvey {
  const bounds = limitsWith(limits);
  const survey: DeltaSurvey = {
    windows: 0,
    targetSize: 0,
    largestWindow: 0,
    precursorReach: 0,
    readsTarget: false,
  };
  for (const window of windowsOf(delta)) count(survey, window, bounds);
  return survey;
}

/** The windows of a delta in order (RFC 3284 section 4). Throws `DeltaError`. */
export function* windowsOf(delta: ByteSource): Generator<DeltaWindow> {
  const cursor = new Cursor(delta, 0, delta.size, 'the delta');
  readFileHeader(cursor);
  while (cursor.left > 0) yield readWindow(cursor);
}

function count(survey: DeltaSurvey, { offset, segment, targetSize }: DeltaWindow, bounds: DeltaLimits): void {
  const segmentEnd = segment.offset + segment.size;
  if (segment.of === 'target' && segmentEnd > survey.targetSize) {
    const told = `the source segment ends at ${segmentEnd} of the target, which has ${survey.targetSize} bytes`;
    throw new DeltaError('outside-target', told, offset);
  }
  survey.windows++;
  if (survey.windows > bounds.windows) {
    throw new DeltaError('too-many-windows', `it has more than ${bounds.windows} windows`, offset);
  }
  requireSize('a target window', targetSize, bounds.targetWindow, offset);
  survey.targetSize += targetSize;
  requireSize('the target', survey.targetSize, bounds.target, offset);
  survey.largestWindow = Math.max(survey.largestWindow, targetSize);
  if (segment.of === 'precursor') survey.precursorReach = Math.max(survey.precursorReach, segmentEnd);
  if (segment.of === 'target') survey.readsTarget = true;
}
