import { readWritten, WorkspaceError } from '../../../workspace/index.ts';
import { FACT_NAMES, type FactName, type UnitFacts } from './facts.ts';
import type { ColumnsFile } from './schema.ts';

/** How the columns of an inventory become facts. */
export interface Columns {
  readonly delimiter: string;
  /** Columns that facts come from. */
  readonly named: readonly string[];
  /** Reads facts out of the values of a row, by the names of its columns. */
  forHeader(header: readonly string[]): RowReader;
}

/** The facts of one row. `values`: in the order of the header. */
export interface RowReader {
  read(values: readonly (string | undefined)[]): UnitFacts;
  /** The column that a fact comes from, for mistakes. */
  columnOf(fact: FactName): string;
  /** Columns that nothing is read from. */
  readonly unused: readonly string[];
}

/** A columns file from its text. Throws `WorkspaceError` file-invalid with line, field and what was expected. */
export async function columnsFromText(text: string, shown: string): Promise<Columns> {
  const { columnsSchema } = await import('./schema.ts');
  return columnsOf(await readWritten(text, shown, columnsSchema));
}

/** Columns called as the facts are. */
export const OWN_NAMES: Columns = {
  delimiter: ',',
  named: FACT_NAMES,
  forHeader: (header) =>
    readerOf(
      header,
      FACT_NAMES.filter((name) => header.includes(name)).map((fact) => ({ fact, column: fact })),
    ),
};

/** Every fact has its place from the start: engines copy objects of one shape many times faster. */
const NOTHING_KNOWN: UnitFacts = Object.fromEntries(FACT_NAMES.map((name) => [name, undefined]));

interface Source {
  readonly fact: FactName;
  readonly column?: string;
  readonly always?: string;
  readonly values?: ReadonlyMap<string, string> | undefined;
  readonly separator?: string | undefined;
}

/** The columns that a columns file describes. */
export function columnsOf({ facts, delimiter }: ColumnsFile): Columns {
  const sources = FACT_NAMES.flatMap((fact): Source[] => {
    const given = facts[fact];
    if (given === undefined) return [];
    if (typeof given === 'string') return [{ fact, column: given }];
    if ('always' in given) return [{ fact, always: given.always }];
    const { column, values, separator } = given;
    return [{ fact, column, values: values && new Map(Object.entries(values)), separator }];
  });
  const named = sources.flatMap(({ column }) => column ?? []);
  return { delimiter, named, forHeader: (header) => readerOf(header, sources) };
}

function readerOf(header: readonly string[], sources: readonly Source[]): RowReader {
  requireColumns(header, sources);
  const used = new Set(sources.map(({ column }) => column));
  const steps = sources.map((source) => ({ ...source, at: header.indexOf(source.column ?? '') }));
  return {
    read(values) {
      const facts: { -readonly [name in FactName]?: string | undefined } = { ...NOTHING_KNOWN };
      for (const { fact, at, always, values: words, separator } of steps) {
        const found = always ?? values[at];
        if (found === undefined || found === '') continue;
        const told = words?.get(found) ?? found;
        facts[fact] = separator === undefined ? told : told.split(separator).join(' ');
      }
      return facts;
    },
    columnOf: (fact) => sources.find((source) => source.fact === fact)?.column ?? fact,
    unused: header.filter((name) => !used.has(name)),
  };
}

function requireColumns(header: readonly string[], sources: readonly Source[]): void {
  const missing = sources.find(({ column }) => column !== undefined && !header.includes(column));
  if (missing)
    throw badHeader(`no column is called ${missing.column}, which ${missing.fact} comes from`, header);
  for (const fact of ['serial', 'class'] as const) {
    if (!sources.some((source) => source.fact === fact))
      throw badHeader(`nothing says which column holds the ${fact} of a unit`, header);
  }
  const twice = header.find(
    (name, i) => header.indexOf(name) < i && sources.some(({ column }) => column === name),
  );
  if (twice !== undefined) throw badHeader(`two columns are called ${twice}`, header);
}

function badHeader(message: string, header: readonly string[]): WorkspaceError {
  return new WorkspaceError('wrong-value', `line 1 of the inventory: ${message}`, {
    hint: `its columns are ${header.slice(0, 40).join(', ')}; say which holds what in a columns file (schemas/inventory-columns.schema.json), or call them serial, class, and so on`,
  });
}
