import type { JsonObject } from '../../workspace/index.ts';
import type { Figure } from './figure.ts';

/** Figures with unit, source and origin, by name. */
export function figuresJson(figures: Readonly<Partial<Record<string, Figure>>>): JsonObject {
  return Object.fromEntries(
    Object.entries(figures).flatMap(([name, figure]) => (figure ? [[name, { ...figure }]] : [])),
  );
}
