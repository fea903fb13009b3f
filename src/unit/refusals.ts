/**
 * Every way in which a unit says no: one closed table. Each code belongs to exactly one step. The check, the
 * virtual unit, the documents and whatever else speaks of refusals read these rows and add none of their own.
 */
import { AUTHENTICATION_REFUSALS, ENVELOPE_REFUSALS, SIGNER_REFUSALS } from './refusals-authentic.ts';
import { PRECURSOR_REFUSALS } from './refusals-delta.ts';
import { FLASH_REFUSALS, START_REFUSALS } from './refusals-flash.ts';
import {
  FIT_REFUSALS,
  FRESHNESS_REFUSALS,
  IDENTITY_REFUSALS,
  MANIFEST_REFUSALS,
} from './refusals-manifest.ts';
import type { StepName } from './steps.ts';

/** One row of the table. */
export interface Refusal {
  readonly code: RefusalCode;
  readonly step: StepName;
  /** What happened, in a few words. */
  readonly says: string;
  /** What it means for the one who answers for the unit. */
  readonly meaning: string;
  /** What to do next. */
  readonly next: string;
  /** The clause that asks for the check. */
  readonly source: string;
}

const TABLE = {
  ...ENVELOPE_REFUSALS,
  ...SIGNER_REFUSALS,
  ...AUTHENTICATION_REFUSALS,
  ...MANIFEST_REFUSALS,
  ...FRESHNESS_REFUSALS,
  ...IDENTITY_REFUSALS,
  ...FIT_REFUSALS,
  ...PRECURSOR_REFUSALS,
  ...FLASH_REFUSALS,
  ...START_REFUSALS,
};

/** The closed list of codes. */
export type RefusalCode = keyof typeof TABLE;

/** All rows, in the order of the steps. */
export const REFUSALS: readonly Refusal[] = Object.entries(TABLE).map(([code, row]) => ({
  code: code as RefusalCode,
  ...row,
}));

const BY_CODE: ReadonlyMap<string, Refusal> = new Map(REFUSALS.map((row) => [row.code, row]));

/** The row of a code. */
export function refusalOf(code: RefusalCode): Refusal {
  return BY_CODE.get(code)!;
}
