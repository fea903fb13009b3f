import { LARGEST_COPY_IN_CODE, SMALLEST_COPY } from './code-table.ts';
import type { MatchFinder } from './matches.ts';
import { PlanStates } from './plan-states.ts';
import type { Step } from './step.ts';

/** A match or run this long is taken without looking for others inside it. */
const LONG = 96;
/** Lengths at which a shorter copy is cheaper: shared codes, sizes within the code, one byte of size. */
const USEFUL_LENGTHS = [SMALLEST_COPY, 5, 6, LARGEST_COPY_IN_CODE, 127];

/**
 * Chooses the instructions of one window that take the fewest bytes, as far as the state kept for each position
 * tells: the cheapest way that ends there with an ADD, and the cheapest that ends with a COPY or RUN.
 * `expected` is the address where the window before stopped copying.
 */
export function planWindow(finder: MatchFinder, expected: number): Step[] {
  const { window } = finder;
  const states = new PlanStates(window.length, finder.segmentSize);
  const runs = runLengths(window);
  for (let position = 0, searchFrom = 0; position < window.length; position++) {
    states.extendAdd(position);
    if (position < searchFrom) continue;
    const longest = Math.max(
      offerRun(states, position, runs[position]!),
      offerCopies(states, finder, position, expected),
    );
    if (longest >= LONG) searchFrom = position + longest;
  }
  return states.steps();
}

function offerRun(states: PlanStates, position: number, length: number): number {
  if (length >= SMALLEST_COPY) states.offerRun(position, length);
  return length;
}

function offerCopies(states: PlanStates, finder: MatchFinder, position: number, expected: number): number {
  const addresses = [...states.diagonals(position), expected + position];
  const matches = [...new Set(addresses)].map((address) => ({
    address,
    length: finder.lengthAt(address, position),
  }));
  if (!matches.some(({ length }) => length >= LONG)) matches.push(...finder.at(position));
  let longest = 0;
  for (const { address, length } of matches) {
    longest = Math.max(longest, length);
    if (length < SMALLEST_COPY) continue;
    states.offerCopy(position, address, length);
    for (const shorter of USEFUL_LENGTHS) if (shorter < length) states.offerCopy(position, address, shorter);
  }
  return longest;
}

/** For each position, how many equal bytes begin there. */
function runLengths(window: Uint8Array): Int32Array {
  const lengths = new Int32Array(window.length).fill(1);
  for (let at = window.length - 2; at >= 0; at--) {
    if (window[at] === window[at + 1]) lengths[at] = lengths[at + 1]! + 1;
  }
  return lengths;
}
