import type * as z from 'zod';
import { invalidFile, type Mistake } from './errors.ts';

/** A mistake that a schema alone cannot see, by the path of its field. */
export type Unplaced = Pick<Mistake, 'expected' | 'says' | 'example'> & {
  readonly path: readonly (string | number)[];
};

/**
 * Reads a text that people write, YAML or JSON, against a schema, and then against `sense`: see `readDocument`, which is
 * loaded when it is needed.
 */
export async function readWritten<S extends z.ZodType>(
  text: string,
  shown: string,
  schema: S,
  sense: (facts: z.output<S>) => readonly Unplaced[] = () => [],
): Promise<z.output<S>> {
  const { mistakeAt, readDocument } = await import('./document.ts');
  const facts = readDocument(text, shown, schema);
  const mistakes = sense(facts);
  if (mistakes.length === 0) return facts;
  throw invalidFile(
    shown,
    mistakes.map(({ path, ...rest }) => mistakeAt(text, path, rest)),
  );
}
