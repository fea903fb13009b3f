/** What a parser's fuzz target is. */
import type { Random } from './random.ts';

/** One parser under attack. */
export interface Target {
  readonly name: string;
  readonly about: string;
  /** Sound inputs to begin with, ours and published ones. */
  seeds(): readonly Uint8Array[] | Promise<readonly Uint8Array[]>;
  mutate(random: Random, input: Uint8Array, other: Uint8Array): Uint8Array;
  /**
   * Reads an input. Gives the kind of the end: `accepted` and what was found, or the code of the refusal and roughly
   * where. Throws where the parser threw anything but a refusal of its room, or took what it must not take.
   */
  read(input: Uint8Array): string;
}

/** Errors with a code: a room's refusals. */
interface Coded extends Error {
  readonly code: string;
  readonly offset?: number | undefined;
  readonly line?: number | undefined;
}

type ErrorClass = abstract new (...args: never[]) => Error;

/** Reads, and turns a refusal of one of these classes into its code and place. Anything else thrown goes on. */
export function endOf(refusals: readonly ErrorClass[], read: () => string): string {
  try {
    return `accepted ${read()}`;
  } catch (error) {
    if (!refusals.some((each) => error instanceof each)) throw error;
    const { code, offset, line } = error as Coded;
    return `${code ?? (error as Error).name} ${bucket(offset ?? line)}`;
  }
}

/** A number by its size: places far apart count as different. */
export function bucket(number: number | undefined): string {
  return number === undefined ? '-' : String(Math.ceil(Math.log2(number + 1)));
}

/** Throws, for the run to report, unless what a target promises holds. */
export function promise(holds: boolean, told: string): void {
  if (!holds) throw new Error(`promise broken: ${told}`);
}
