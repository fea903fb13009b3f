import type { ByteSource } from '../bytes/index.ts';
import { DeltaError } from './errors.ts';
import { fillWindow } from './fill-window.ts';
import type { DeltaLimits } from './limits.ts';
import { type DeltaSurvey, surveyDelta, windowsOf } from './survey.ts';
import type { Segment } from './window.ts';

/** Where the new image goes, in order. */
export interface DeltaTarget {
  /** Takes the next bytes, which begin at `offset`; they are only valid during the call. */
  write(bytes: Uint8Array, offset: number): void;
  /** Reads back what was written. Left out where the target cannot be read: then VCD_TARGET is refused. */
  read?(offset: number, length: number): Uint8Array;
}

export interface DeltaApplication {
  delta: ByteSource;
  /** The image that the delta was made against. Its digest is the caller's to check first: VCDIFF has none. */
  precursor: ByteSource;
  /** The size that the new image must have, in bytes. */
  targetSize: number;
  target: DeltaTarget;
  limits?: Partial<DeltaLimits>;
}

/**
 * Applies a delta window by window (RFC 3284 section 6). Sets aside one buffer of the largest target window; both
 * images are read and written piecemeal. Every window header is checked before the first byte is written; what an
 * instruction gets wrong shows only in its window, so bytes written before a throw are not an image. Throws
 * `DeltaError`, and whatever the ports throw.
 */
export function applyDelta({ delta, precursor, targetSize, target, limits }: DeltaApplication): void {
  const survey = surveyDelta(delta, limits);
  requireFit(survey, precursor, targetSize, target);
  const buffer = new Uint8Array(survey.largestWindow);
  let offset = 0;
  for (const window of windowsOf(delta)) {
    const bytes = buffer.subarray(0, window.targetSize);
    fillWindow(window, segmentReader(window.segment, precursor, target), bytes);
    target.write(bytes, offset);
    offset += bytes.length;
  }
}

/** Throws `DeltaError` unless a delta makes an image of the size given out of this precursor. */
export function requireFit(
  survey: DeltaSurvey,
  precursor: ByteSource,
  targetSize: number,
  target?: DeltaTarget,
): void {
  if (survey.targetSize !== targetSize) {
    const told = `it makes ${survey.targetSize} bytes where ${targetSize} are expected`;
    throw new DeltaError('wrong-size', told);
  }
  if (survey.precursorReach > precursor.size) {
    const told = `it copies up to byte ${survey.precursorReach} of an image of ${precursor.size} bytes`;
    throw new DeltaError('outside-precursor', told);
  }
  if (survey.readsTarget && !target?.read) {
    throw new DeltaError('no-read-back', 'a window has its source segment in the target (VCD_TARGET)');
  }
}

/** Reads from the source segment by offset within it. One in the target needs a target that can be read. */
export function segmentReader({ of, offset }: Segment, precursor: ByteSource, target?: DeltaTarget) {
  const from = of === 'target' ? target! : precursor;
  return (address: number, length: number) => from.read!(offset + address, length);
}
