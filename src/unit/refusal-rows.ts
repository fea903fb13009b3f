import type { StepName } from './steps.ts';

/** What a row says apart from its code, which is its key in the table. */
export interface RefusalRow {
  readonly step: StepName;
  readonly says: string;
  readonly meaning: string;
  readonly next: string;
  readonly source: string;
}

/** Rows that all belong to one step. Keeps the codes as literal types. */
export function rowsOf<Code extends string>(
  step: StepName,
  rows: Readonly<Record<Code, readonly [says: string, meaning: string, next: string, source: string]>>,
): Readonly<Record<Code, RefusalRow>> {
  const table = {} as Record<Code, RefusalRow>;
  for (const code of Object.keys(rows) as Code[]) {
    const [says, meaning, next, source] = rows[code];
    table[code] = { step, says, meaning, next, source };
  }
  return table;
}
