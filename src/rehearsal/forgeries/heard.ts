/** What came of an attack. */
import type { Refusal, RefusalCode, Verdict } from '../../unit/index.ts';

/** What a unit, or sealing, said. */
export interface Heard {
  readonly answer: 'accepted' | 'refused' | 'incomplete';
  readonly refusal: Refusal | null;
  /** What the refusal did not prevent: flash that was written, a marked slot that changed. */
  readonly harm?: string | undefined;
}

/** Why sealing said no; sealing has no closed list of its own. */
export const SEAL_REFUSAL = 'sealing-refused';
export type AwaitedRefusal = RefusalCode | typeof SEAL_REFUSAL;

/** A verdict as it is heard. */
export function heardOf({ verdict, refusal }: Pick<Verdict, 'verdict' | 'refusal'>, harm?: string): Heard {
  return { answer: verdict, refusal, harm };
}
