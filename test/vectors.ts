/**
 * Published vectors that lie beside a development checkout (`../shared/vectors`, or FIELDSEAL_VECTORS).
 * A fresh clone has none: suites that need them are then reported as skipped.
 */
import { existsSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const folder =
  process.env.FIELDSEAL_VECTORS ?? fileURLToPath(new URL('../../shared/vectors', import.meta.url));

/** Whether the folder of published vectors is there. */
export const vectorsPresent = existsSync(folder);

/** Why a case is not judged, and how it shows in the case itself: never its name, number or place in the file. */
export type SkipReason<C> = readonly [reason: string, applies: (entry: C) => boolean];

/**
 * Parts the cases of a file into those that are judged and those that are skipped, each for the first reason that
 * applies. Two disjoint halves of every source exist, so nothing may depend on which cases a file happens to hold.
 */
export function partition<C>(cases: readonly C[], reasons: readonly SkipReason<C>[]) {
  const reasonFor = (entry: C) => reasons.find(([, applies]) => applies(entry))?.[0];
  const sorted = cases.map((entry) => ({ entry, reason: reasonFor(entry) }));
  return {
    judged: sorted.flatMap(({ entry, reason }) => (reason === undefined ? [entry] : [])),
    skipped: sorted.flatMap(({ entry, reason }) => (reason === undefined ? [] : [{ entry, reason }])),
  };
}

/** One vector file, parsed. */
// biome-ignore lint/suspicious/noExplicitAny: each vector file has a shape of its own
export function vectors(name: string): any {
  return JSON.parse(readFileSync(`${folder}/${name}.json`, 'utf8'));
}
