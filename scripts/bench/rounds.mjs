// Timing on a machine that others use too: both sides take turns, and medians decide.
import { spawnSync } from 'node:child_process';

/**
 * Runs each of `sides` (name -> function that gives a figure) once per round, in alternating order. Gives the figures
 * of each side, round by round.
 */
export async function takeTurns(rounds, sides) {
  const names = Object.keys(sides);
  const figures = Object.fromEntries(names.map((name) => [name, []]));
  for (let round = 0; round < rounds; round++) {
    for (const name of round % 2 === 0 ? names : names.toReversed()) figures[name].push(await sides[name]());
  }
  return figures;
}

export function median(values) {
  const sorted = values.toSorted((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

/** The median over the rounds of one side's figure divided by the other's of the same round. */
export function medianRatio(figures, reference) {
  return median(figures.map((value, round) => value / reference[round]));
}

/** Runs a command to its end; gives the milliseconds it took. Throws where it fails. */
export function timeCommand([command, ...args], options = {}) {
  const begin = performance.now();
  runCommand([command, ...args], options);
  return performance.now() - begin;
}

/** Runs a command to its end; gives what it printed. Throws where it fails. */
export function runCommand([command, ...args], options = {}) {
  const result = spawnSync(command, args, { encoding: 'utf8', maxBuffer: 1 << 26, ...options });
  if (result.error) throw result.error;
  if (result.status !== 0)
    throw new Error(`${command} ${args.join(' ')}: status ${result.status}\n${result.stderr}`);
  return result.stdout;
}
