import type { RefusalCode, Verdict } from '../../../src/unit/index.ts';

/** One way to hear a refusal. The title names the clause and what is wrong. */
export interface Case {
  readonly code: RefusalCode;
  readonly title: string;
  readonly verdict: () => Promise<Verdict>;
}
