/**
 * What the rows of every table share. `runs`: this implementation acts on the item. `named`: the drafts define
 * it, we know its name and refuse it by name, because acting on half of an unknown instruction is worse than
 * refusing the manifest (draft-ietf-suit-manifest section 6.1; draft-ietf-suit-update-management section 5).
 */
export interface Row {
  readonly code: number;
  /** Name as the draft writes it. */
  readonly name: string;
  readonly support: 'runs' | 'named';
  /** Document and section: [M] draft-ietf-suit-manifest-37, [UM] update-management-14, [TD] trust-domains-11,
   * [FE] firmware-encryption-24. */
  readonly source: string;
}

/** A table indexed by code. A Map, so that no code finds anything an object inherits. */
export function tableOf<R extends Row>(rows: readonly R[]): ReadonlyMap<number, R> {
  const table = new Map(rows.map((row) => [row.code, row]));
  if (table.size !== rows.length) throw new TypeError('a table holds one row per code');
  return table;
}
