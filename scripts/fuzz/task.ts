/** What a fuzz run is made of: tasks, each a number of cases by name; the same name, number and seed give the same case. */

/** How a case ended, by its key in the count; thrown errors are violations. */
export interface Fuzzer {
  /** Names of its tasks, in the order in which they run. */
  readonly names: readonly string[];
  /** Runs a case. Throws where the code under test did what it must never do. */
  run(name: string, seed: number, number: number): string;
  /** A case as it is kept for later: file below test/corpus, content. */
  kept(
    name: string,
    seed: number,
    number: number,
    told: string,
  ): { readonly path: string; readonly content: Uint8Array };
}

/** A stretch of cases for one worker. */
export interface Stretch {
  readonly name: string;
  readonly seed: number;
  readonly from: number;
  readonly to: number;
}

/** What a worker found. */
export interface Found {
  readonly counts: Readonly<Record<string, number>>;
  readonly violations: readonly Violated[];
  readonly slowestMilliseconds: number;
  /** Memory that was still held after a collection, early in the stretch and at its end; bytes. */
  readonly held: readonly [number, number];
}

export interface Violated {
  readonly name: string;
  readonly number: number;
  readonly told: string;
}
