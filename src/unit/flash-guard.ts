import { FlashError } from './flash.ts';
import type { RefusalCode } from './refusals.ts';
import type { Question, Trace } from './trace.ts';

/** Turns flash that does not take an order into a refusal. */
export function guard(trace: Trace, code: RefusalCode, question: Question, body: () => void): void {
  try {
    body();
  } catch (error) {
    if (!(error instanceof FlashError)) throw error;
    trace.refuse(code, { ...question, found: error.message });
  }
}
