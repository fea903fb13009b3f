import {
  ADD,
  COPY,
  LARGEST_ADD_IN_CODE,
  LARGEST_COPY_IN_CODE,
  LARGEST_PAIRED_ADD,
  largestPairedCopy,
  NEAR_MODES,
  RUN,
  SAME_MODES,
  SMALLEST_COPY,
} from './code-table.ts';
import { integerSize } from './integer.ts';
import type { Step } from './step.ts';

const NONE = -1;
const UNREACHED = 2 ** 30;
const LARGEST_PAIRED_COPY = largestPairedCopy(SAME_MODES.first - 1);

/**
 * The cheapest known way to each position of a window, in two states: even numbers end with an ADD, odd ones with a
 * COPY, a RUN or nothing. The costs are bytes written; same modes are not foreseen.
 */
export class PlanStates {
  readonly #cost: Int32Array;
  readonly #from: Int32Array;
  readonly #type: Uint8Array;
  readonly #length: Int32Array;
  readonly #address: Int32Array;
  /** Whether the state's last instruction shares its code with the one before. */
  readonly #shared: Uint8Array;
  /** The state in which the latest COPY on the way ended. */
  readonly #lastCopy: Int32Array;

  constructor(
    readonly windowSize: number,
    readonly segmentSize: number,
  ) {
    const count = 2 * (windowSize + 1);
    this.#cost = new Int32Array(count).fill(UNREACHED);
    this.#from = new Int32Array(count).fill(NONE);
    this.#type = new Uint8Array(count);
    this.#length = new Int32Array(count);
    this.#address = new Int32Array(count);
    this.#shared = new Uint8Array(count);
    this.#lastCopy = new Int32Array(count).fill(NONE);
    this.#cost[1] = 0;
  }

  /** Adds the byte at a position, from both states before it. */
  extendAdd(position: number): void {
    for (const state of this.#reached(position)) {
      const grows = this.#type[state] === ADD;
      const length = grows ? this.#length[state]! + 1 : 1;
      const shared = !grows && this.#isFreeCopy(state);
      const cost = 1 + (grows ? this.#costOfGrowing(state, length) : shared ? 0 : 1);
      const from = grows ? this.#from[state]! : state;
      this.#reach(2 * (position + 1), state, from, cost, ADD, length, 0, shared);
    }
  }

  /** Considers a RUN of the byte at a position. */
  offerRun(position: number, length: number): void {
    for (const state of this.#reached(position)) {
      this.#reach(2 * (position + length) + 1, state, state, 2 + integerSize(length), RUN, length, 0, false);
    }
  }

  /** Considers a COPY. */
  offerCopy(position: number, address: number, length: number): void {
    for (const state of this.#reached(position)) {
      const shared = this.#sharesWithAdd(state, length);
      const code = shared ? 0 : 1 + (length > LARGEST_COPY_IN_CODE ? integerSize(length) : 0);
      const cost = code + this.#addressCost(state, address, this.segmentSize + position);
      this.#reach(2 * (position + length) + 1, state, state, cost, COPY, length, address, shared);
    }
  }

  /** Addresses that continue the latest copies on the way to a position: cheap to write in a near mode. */
  *diagonals(position: number): Generator<number> {
    for (const state of this.#reached(position)) {
      for (const copy of this.#latestCopies(state)) {
        const start = (copy >> 1) - this.#length[copy]!;
        yield this.#address[copy]! + position - start;
      }
    }
  }

  /** The instructions of the cheapest way to the window's end. */
  steps(): Step[] {
    const steps: Step[] = [];
    const end = 2 * this.windowSize;
    let state = this.#cost[end]! < this.#cost[end + 1]! ? end : end + 1;
    while (this.#from[state]! !== NONE) {
      const length = this.#length[state]!;
      const position = (state >> 1) - length;
      const type = this.#type[state] as Step['type'];
      steps.push(
        type === COPY
          ? { type, position, length, address: this.#address[state]! }
          : { type, position, length },
      );
      state = this.#from[state]!;
    }
    return steps.reverse();
  }

  *#reached(position: number): Generator<number> {
    for (const state of [2 * position, 2 * position + 1]) if (this.#cost[state]! < UNREACHED) yield state;
  }

  #reach(
    to: number,
    before: number,
    from: number,
    extra: number,
    type: Step['type'],
    length: number,
    address: number,
    shared: boolean,
  ): void {
    const cost = this.#cost[before]! + extra;
    if (cost >= this.#cost[to]!) return;
    this.#cost[to] = cost;
    this.#from[to] = from;
    this.#type[to] = type;
    this.#length[to] = length;
    this.#address[to] = address;
    this.#shared[to] = shared ? 1 : 0;
    this.#lastCopy[to] = type === COPY ? to : this.#lastCopy[before]!;
  }

  /** A COPY of 4 that is free to share its code with an ADD of 1 behind it. */
  #isFreeCopy(state: number): boolean {
    return this.#type[state] === COPY && this.#length[state] === SMALLEST_COPY && this.#shared[state] === 0;
  }

  /** One more byte may need a code of its own, a size of its own, or one more digit of that size. */
  #costOfGrowing(state: number, length: number): number {
    const own = this.#shared[state] === 1 ? 1 : 0;
    if (length <= LARGEST_ADD_IN_CODE) return own;
    const before = length - 1 > LARGEST_ADD_IN_CODE ? integerSize(length - 1) : 0;
    return own + integerSize(length) - before;
  }

  #sharesWithAdd(state: number, length: number): boolean {
    return (
      this.#type[state] === ADD &&
      this.#shared[state] === 0 &&
      this.#length[state]! <= LARGEST_PAIRED_ADD &&
      length <= LARGEST_PAIRED_COPY
    );
  }

  #addressCost(state: number, address: number, here: number): number {
    let cost = Math.min(integerSize(address), integerSize(here - address));
    for (const copy of this.#latestCopies(state)) {
      const ahead = address - this.#address[copy]!;
      if (ahead >= 0) cost = Math.min(cost, integerSize(ahead));
    }
    return cost;
  }

  *#latestCopies(state: number): Generator<number> {
    let copy = this.#lastCopy[state]!;
    for (let count = 0; copy !== NONE && count < NEAR_MODES.count; count++) {
      yield copy;
      copy = this.#lastCopy[this.#from[copy]!]!;
    }
  }
}
