import type { ByteSource } from '../../bytes/index.ts';
import { slice } from '../../bytes/index.ts';
import { equalInConstantTime } from '../../crypto/index.ts';
import { DELTA_LIMITS, DeltaError, deltaSource } from '../../delta/index.ts';
import type { Trace } from '../trace.ts';
import type { NamedImage } from './fit.ts';
import { compareImage, digestOfSource } from './image.ts';

/** How the manifest has the image made by a delta: what is authenticated of it. */
export interface DeltaOrder {
  /** SHA-256 of the delta, 32 bytes. */
  readonly digest: Uint8Array;
  /** Bytes of the delta. */
  readonly size: number;
  /** Bytes that its largest target window makes. */
  readonly window: number;
  /** What it is applied to. */
  readonly precursor: NamedImage;
}

/** A delta that can be applied here. */
export interface JudgedDelta extends DeltaOrder {
  /** The slot that begins with the precursor. */
  readonly slot: ByteSource;
  readonly image: NamedImage;
}

/**
 * The rest of step 8 for a delta at hand, before anything is written: it is the one that was sealed, and its window
 * headers keep within what was announced. Gives the image that it makes, to be read in order; reading may throw
 * `DeltaError`.
 */
export function judgeDelta(trace: Trace, delta: JudgedDelta, source: ByteSource): ByteSource {
  const found = source.size === delta.size ? digestOfSource(source) : `${source.size} bytes`;
  const same = typeof found !== 'string' && equalInConstantTime(found, delta.digest);
  trace.require(same, 'delta-altered', {
    what: `SHA-256 of the delta, ${delta.size} bytes, compared before it is applied`,
    expected: delta.digest,
    found,
    source: 'RFC 9124 4.3.9; docs/deployment-profile.md',
  });
  return withDeltaErrors(trace, () => {
    const { window, image, precursor } = delta;
    return deltaSource({
      delta: source,
      precursor: slice(delta.slot, 0, precursor.size),
      targetSize: image.size,
      limits: { targetWindow: window, target: image.size, windows: DELTA_LIMITS.windows.value },
    });
  });
}

/** Makes the image to nowhere, and judges step 9. */
export function judgeMade(trace: Trace, delta: JudgedDelta, source: ByteSource): void {
  const made = judgeDelta(trace, delta, source);
  const found = withDeltaErrors(trace, () => digestOfSource(made));
  trace.enter('image');
  compareImage(trace, delta.image, found);
}

/** What is wrong with a delta is a refusal of step 8, which is open. */
export function withDeltaErrors<T>(trace: Trace, body: () => T): T {
  try {
    return body();
  } catch (error) {
    if (!(error instanceof DeltaError)) throw error;
    return trace.refuse('delta-malformed', {
      what: 'delta',
      expected: 'the image, within the windows that the manifest announces',
      found: `${error.says}. ${error.means}`,
      source: 'RFC 3284 4, 5, 6',
    });
  }
}
