import type * as z from 'zod';
import type { Unplaced } from './document.ts';

/** Reads a text that people write, YAML or JSON, against a schema: see `readDocument`, which is loaded when it is needed. */
export async function readWritten<S extends z.ZodType>(
  text: string,
  shown: string,
  schema: S,
  sense?: (facts: z.output<S>) => Iterable<Unplaced>,
): Promise<z.output<S>> {
  const { readDocument } = await import('./document.ts');
  return readDocument(text, shown, schema, sense);
}
