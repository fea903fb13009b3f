import { SMALLEST_COPY } from './code-table.ts';
import { MatchIndex } from './match-index.ts';

/** Bytes that occur earlier, by address in the segment followed by the window (RFC 3284 section 3). */
export interface Match {
  address: number;
  length: number;
}

/** A part of the precursor that a window copies from. */
export interface Range {
  readonly start: number;
  readonly end: number;
}

/** How many positions of one chain are compared: bounds the work on images that repeat themselves. */
const CHAIN_DEPTH = 64;
/** Key lengths in words: short keys find every useful copy, long ones the long copies in crowded chains. */
const KEYS = [1, 3];

/** The precursor, indexed once for all windows. */
export class PrecursorIndex {
  readonly indexes: MatchIndex[];

  constructor(readonly bytes: Uint8Array) {
    this.indexes = KEYS.map((words) => new MatchIndex(bytes, words).addAll());
  }
}

/** Finds what a window can copy: from a range of the precursor, and from itself. */
export class MatchFinder {
  readonly #own: MatchIndex[];
  #filed = 0;

  constructor(
    readonly precursor: PrecursorIndex,
    readonly range: Range,
    readonly window: Uint8Array,
  ) {
    this.#own = KEYS.map((words) => new MatchIndex(window, words));
  }

  get segmentSize(): number {
    return this.range.end - this.range.start;
  }

  /** Matches at a position, each longer than the one before. Positions are asked for in ascending order. */
  at(position: number): Match[] {
    this.#fileUpTo(position);
    const found: Match[] = [];
    for (const [key, own] of this.#own.entries()) {
      this.#walk(own, position, found, (candidate) => this.segmentSize + candidate);
      this.#walk(this.precursor.indexes[key]!, position, found, (candidate) =>
        candidate >= this.range.start && candidate < this.range.end ? candidate - this.range.start : -1,
      );
    }
    return found;
  }

  /** How many bytes at an address equal the window's bytes at a position. Neither crosses the segment's end. */
  lengthAt(address: number, position: number): number {
    const { window, segmentSize } = this;
    if (address < 0 || address >= segmentSize + position) return 0;
    const own = address >= segmentSize;
    const bytes = own ? window : this.precursor.bytes;
    const from = own ? address - segmentSize : address + this.range.start;
    const most = Math.min(window.length - position, own ? window.length : this.range.end - from);
    let length = 0;
    while (length < most && bytes[from + length] === window[position + length]) length++;
    return length;
  }

  #fileUpTo(position: number): void {
    for (; this.#filed < position; this.#filed++) for (const own of this.#own) own.add(this.#filed);
  }

  #walk(index: MatchIndex, position: number, found: Match[], addressOf: (candidate: number) => number): void {
    const { window } = this;
    let best = found.at(-1)?.length ?? SMALLEST_COPY - 1;
    let candidate = index.first(window, position);
    for (let depth = 0; candidate >= 0 && depth < CHAIN_DEPTH; depth++, candidate = index.next(candidate)) {
      if (position + best >= window.length) return;
      if (index.bytes[candidate + best] !== window[position + best]) continue;
      const address = addressOf(candidate);
      const length = this.lengthAt(address, position);
      if (length <= best) continue;
      found.push({ address, length });
      best = length;
    }
  }
}
