import { REFUSALS, type Refusal } from '../unit/index.ts';
import { PENDING, refusalNamed, UNFINISHED } from './outcomes.ts';
import type { SuitReport } from './report.ts';
import { REASONS } from './tables.ts';

/** What a report says happened, in words. */
export interface Outcome {
  readonly result: 'success' | 'pending' | 'unfinished' | 'failed';
  /** Name of the registry's reason; null for a success. */
  readonly reason: string | null;
  readonly says: string;
  /** The refusal that a unit of ours means by its number; null for others. */
  readonly refusal: Refusal | null;
}

/** What a report says happened ([RPT] section 4.2). */
export function outcomeTold({ result }: SuitReport): Outcome {
  if (result === true) {
    return { result: 'success', reason: null, says: 'kept: it ran and proved itself', refusal: null };
  }
  const { code, reason } = result;
  const row = REASONS.get(reason)!;
  const named = refusalNamed(code, reason);
  if (reason === PENDING.reason)
    return { result: 'pending', reason: row.name, says: row.says, refusal: null };
  if (code === UNFINISHED.code && reason === UNFINISHED.reason) {
    const says = 'the install was cut short, or its image is not there yet';
    return { result: 'unfinished', reason: row.name, says, refusal: null };
  }
  const refusal = REFUSALS.find((row) => row.code === named) ?? null;
  return { result: 'failed', reason: row.name, says: refusal?.says ?? row.says, refusal };
}
