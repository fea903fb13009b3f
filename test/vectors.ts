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

/** One vector file, parsed. */
// biome-ignore lint/suspicious/noExplicitAny: each vector file has a shape of its own
export function vectors(name: string): any {
  return JSON.parse(readFileSync(`${folder}/${name}.json`, 'utf8'));
}
