import { type ByteSource, concat } from '../bytes/index.ts';
import { type DeltaApplication, requireFit, segmentReader } from './apply.ts';
import { DeltaError } from './errors.ts';
import { fillWindow } from './fill-window.ts';
import { surveyDelta, windowsOf } from './survey.ts';
import type { DeltaWindow } from './window.ts';

/**
 * The image that a delta makes, read as if it were there: each window is made when it is first reached, into one buffer
 * of the largest window. Made for reading in order; reading may begin anywhere, as after an interruption, and going
 * back begins anew. Checks every window header at once, before anything is read (RFC 3284 section 4.3); what an
 * instruction gets wrong shows in `read`, so what was read before a throw is not an image. Both throw `DeltaError`.
 */
export function deltaSource(application: Omit<DeltaApplication, 'target'>): ByteSource {
  const { delta, precursor, targetSize, limits } = application;
  const survey = surveyDelta(delta, limits);
  requireFit(survey, precursor, targetSize);
  const making = new Making(delta, precursor, new Uint8Array(survey.largestWindow));
  return {
    size: targetSize,
    read(offset, length) {
      if (offset < 0 || length < 0 || offset + length > targetSize) {
        throw new RangeError(`bytes ${offset} to ${offset + length} are outside an image of ${targetSize}`);
      }
      return making.read(offset, length);
    },
  };
}

class Making {
  readonly #delta: ByteSource;
  readonly #precursor: ByteSource;
  readonly #buffer: Uint8Array;
  #windows: Iterator<DeltaWindow, undefined>;
  /** The window that was reached, by the bytes of the image that it makes, and whether the buffer holds them. */
  #window: DeltaWindow | undefined;
  #start = 0;
  #end = 0;
  #made = false;

  constructor(delta: ByteSource, precursor: ByteSource, buffer: Uint8Array) {
    this.#delta = delta;
    this.#precursor = precursor;
    this.#buffer = buffer;
    this.#windows = windowsOf(delta);
  }

  read(offset: number, length: number): Uint8Array {
    const pieces: Uint8Array[] = [];
    for (let at = offset; at < offset + length; at += pieces.at(-1)!.length) {
      this.#reach(at);
      const end = Math.min(this.#end, offset + length);
      pieces.push(this.#buffer.slice(at - this.#start, end - this.#start));
    }
    return pieces.length === 1 ? pieces[0]! : concat(...pieces);
  }

  #reach(position: number): void {
    if (position < this.#start) this.#begin();
    while (position >= this.#end) this.#next();
    if (this.#made) return;
    const window = this.#window!;
    const reader = segmentReader(window.segment, this.#precursor);
    fillWindow(window, reader, this.#buffer.subarray(0, window.targetSize));
    this.#made = true;
  }

  #begin(): void {
    this.#windows = windowsOf(this.#delta);
    this.#start = 0;
    this.#end = 0;
  }

  #next(): void {
    const { value, done } = this.#windows.next();
    if (done) throw new DeltaError('truncated', 'it changed since its window headers were read');
    this.#window = value;
    this.#start = this.#end;
    this.#end += this.#window.targetSize;
    this.#made = false;
  }
}
