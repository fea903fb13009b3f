/** Runs a stretch of cases and looks at time and memory. */
import type { Found, Fuzzer, Stretch, Violated } from './task.ts';

/** Time on the processor that no case of a fuzz run may take longer than; a usual one takes about a millisecond. */
export const SLOWEST_CASE_MILLISECONDS = 2000;
/** Violations that are kept of one stretch; more say nothing new. */
const MOST_VIOLATIONS = 5;

/** Where a worker tells how far it is, and how its memory is collected. */
export interface StretchPorts {
  at(number: number): void;
  collect?(): void;
}

/** Runs the cases `from` to `to` - 1 of one task. */
export function runStretch(fuzzer: Fuzzer, { name, seed, from, to }: Stretch, ports: StretchPorts): Found {
  const counts: Record<string, number> = {};
  const violations: Violated[] = [];
  const early = from + Math.floor((to - from) / 10);
  let slowest = 0;
  let held = 0;
  for (let number = from; number < to && violations.length < MOST_VIOLATIONS; number++) {
    ports.at(number);
    if (number === early) held = heldMemory(ports);
    // Of the whole process, as threads have no clock of their own: too much where several run, never too little.
    const begin = process.cpuUsage();
    const ending = caught(() => fuzzer.run(name, seed, number));
    const { user, system } = process.cpuUsage(begin);
    const took = (user + system) / 1000;
    slowest = Math.max(slowest, took);
    const told = took > SLOWEST_CASE_MILLISECONDS ? `took ${took.toFixed(0)} ms` : ending.told;
    if (told !== undefined) violations.push({ name, number, told });
    counts[ending.key] = (counts[ending.key] ?? 0) + 1;
  }
  return { counts, violations, slowestMilliseconds: slowest, held: [held, heldMemory(ports)] };
}

function caught(run: () => string): { readonly key: string; readonly told?: string } {
  try {
    return { key: run() };
  } catch (error) {
    return {
      key: 'VIOLATION',
      told: error instanceof Error ? (error.stack ?? error.message) : String(error),
    };
  }
}

function heldMemory({ collect }: StretchPorts): number {
  collect?.();
  const { heapUsed, external } = process.memoryUsage();
  return heapUsed + external;
}
