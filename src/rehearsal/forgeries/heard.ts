/** What came of an attack. */
import type { CheckStep, Refusal, RefusalCode, Verdict } from '../../unit/index.ts';

/** Answers that stand in no closed list: sealing says no, or a cut in power brings nothing but genuine firmware to run. */
export const BEYOND_REFUSALS = {
  'sealing-refused': 'seal',
  'only-genuine-runs': 'start',
} as const;

/** What must be heard. */
export type Awaited = RefusalCode | keyof typeof BEYOND_REFUSALS;

/** What a unit, or sealing, said. */
export interface Heard {
  /** A code, or `accepted`, or `incomplete`; or, in words, what else came of it. */
  readonly told: string;
  readonly refusal: Refusal | null;
  /** What a no did not prevent: flash that was written, another image that runs. */
  readonly harm?: string | undefined;
  /** The decision, step by step, where a unit made one. */
  readonly steps?: readonly CheckStep[] | undefined;
}

/** A verdict as it is heard. */
export function heardOf(
  { verdict, refusal, steps }: Pick<Verdict, 'verdict' | 'refusal'> & Partial<Pick<Verdict, 'steps'>>,
  harm?: string,
): Heard {
  return { told: refusal?.code ?? verdict, refusal, harm, steps };
}

/** One refusal, or that there was none. */
export function refusedWith(refusal: Refusal | null | undefined, harm?: string): Heard {
  return { told: refusal?.code ?? 'accepted', refusal: refusal ?? null, harm };
}

/** An answer that is no refusal of a unit. */
export function heardAs(told: string, harm?: string): Heard {
  return { told, refusal: null, harm };
}
