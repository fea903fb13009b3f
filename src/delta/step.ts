import type { ADD, COPY, RUN } from './code-table.ts';

/** One instruction to write: what makes `length` bytes of the window from `position` on. */
export type Step =
  | { type: typeof ADD | typeof RUN; position: number; length: number }
  | { type: typeof COPY; position: number; length: number; address: number };
