/** One bound on what is taken in, and why it has its value. docs/limits.md is written from tables of these. */
export interface Limit {
  readonly value: number;
  /** What is counted; empty where the number speaks for itself. */
  readonly unit: string;
  readonly reason: string;
}

export type LimitTable = Readonly<Record<string, Limit>>;

/** The bare numbers of a table. */
export function limitValues<T extends LimitTable>(table: T): { readonly [K in keyof T]: number } {
  const values = Object.entries(table).map(([name, { value }]) => [name, value]);
  return Object.fromEntries(values) as { readonly [K in keyof T]: number };
}
