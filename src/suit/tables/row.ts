/**
 * What a processor may do beyond the base, each only where the caller says that it does: the extensions are optional
 * to implement, and a manifest that uses one which is not there must be refused ([TD] section 5.1, [UM] section 5).
 */
export const EXTENSIONS = [
  /** Dependencies, the sections that go with them, and their commands ([TD]). */
  'dependencies',
  /** set-parameters ([TD] 5.6.1); who supports encryption must take it too ([FE] 4). */
  'set-parameters',
  /** Encryption info, used up by write and copy ([FE] 4). */
  'encryption',
  /** wait and its events ([UM] 4.5, 5.6). */
  'wait',
  /** override-multiple and copy-params ([UM] 5.7, 5.8). */
  'parameter-lists',
  /** File metadata of a component ([UM] 4.6). */
  'component-metadata',
  /** Fetch arguments ([M] 8.4.8.13). */
  'fetch-arguments',
  /** What is copied is a delta, a custom parameter (docs/deployment-profile.md). */
  'delta',
] as const;
export type Extension = (typeof EXTENSIONS)[number];
export type Extensions = ReadonlySet<Extension>;

export const NO_EXTENSIONS: Extensions = new Set();
/** Everything that can be read and run here. */
export const ALL_EXTENSIONS: Extensions = new Set(EXTENSIONS);

/**
 * What the rows of every table share. `runs`: this implementation acts on the item. An extension: it does where the
 * caller supports that one. `named`: the drafts define it, we know its name and refuse it by name, because acting on
 * half of an unknown instruction is worse than refusing the manifest (draft-ietf-suit-manifest section 6.1;
 * draft-ietf-suit-update-management section 5).
 */
export interface Row {
  readonly code: number;
  /** Name as the draft writes it. */
  readonly name: string;
  readonly support: 'runs' | 'named' | Extension;
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

/** Whether an item of the drafts is acted on by a processor with these extensions. */
export function runsWith(row: Row, extensions: Extensions): boolean {
  return row.support === 'runs' || (row.support !== 'named' && extensions.has(row.support));
}
