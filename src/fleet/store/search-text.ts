import { sql } from 'kysely';
import type { Core } from './core.ts';
import type { CountedCell } from './counts.ts';
import { type Found, malformed } from './found.ts';
import type { UnitRecord } from './tables.ts';
import type { UnitQuery } from './types.ts';

/** What a text may be the beginning of, in the order in which it is looked for. */
const COLUMNS = ['serial', 'device', 'site'] as const;
type Column = (typeof COLUMNS)[number];
/** No text that is kept has a character that sorts after it. */
const LAST_CHARACTER = '\u{10FFFF}';
const HEX = /^[0-9a-f]{1,32}$/;

interface TextQuery extends UnitQuery {
  readonly text: string;
  readonly limit: number;
}

/** Units whose serial number, device identifier or group begins with a text, and that stand in one of the cells. */
export async function searchText(
  core: Core,
  query: TextQuery,
  cells: readonly CountedCell[],
): Promise<Found> {
  const from = cursorOf(query.after);
  if (cells.length === 0) return { rows: [], next: undefined };
  const rows: UnitRecord[] = [];
  for (const [i, column] of COLUMNS.entries()) {
    if (i < from.column || (column === 'device' && !HEX.test(query.text))) continue;
    const begin = i === from.column ? from : undefined;
    const more = await beginning(core, column, query, cells, begin, query.limit + 1 - rows.length);
    rows.push(...more);
    if (rows.length > query.limit) break;
  }
  const page = rows.slice(0, query.limit);
  const last = rows.length > query.limit ? page.at(-1) : undefined;
  return { rows: page, next: last && cursorFor(last, query.text) };
}

function beginning(
  { db }: Core,
  column: Column,
  { text, silentSince }: TextQuery,
  cells: readonly CountedCell[],
  from: { readonly value: string; readonly no: number } | undefined,
  limit: number,
): Promise<UnitRecord[]> {
  const classes = [...new Set(cells.map(({ classNo }) => classNo))];
  let found = db
    .selectFrom('units')
    .selectAll()
    .where(column, '>=', text)
    .where(column, '<', text + LAST_CHARACTER)
    // The sign keeps the database from going by the cells: the text is what leaves few.
    .where(sql<boolean>`+cell_no in (${sql.join(cells.map(({ no }) => no))})`);
  for (const earlier of COLUMNS.slice(0, COLUMNS.indexOf(column))) {
    found = found.where((is) =>
      is.or([is(earlier, 'is', null), is(earlier, '<', text), is(earlier, '>=', text + LAST_CHARACTER)]),
    );
  }
  if (column === 'device') found = found.where('class_no', 'in', classes);
  if (silentSince) found = found.where('heard_at', '<', silentSince.getTime());
  if (from) found = found.where((is) => is(is.refTuple(column, 'no'), '>', is.tuple(from.value, from.no)));
  return found.orderBy(column).orderBy('no').limit(limit).execute();
}

function cursorFor(row: UnitRecord, text: string): string {
  const column = COLUMNS.findIndex((name) => row[name]?.startsWith(text));
  const value = row[COLUMNS[column]!]!;
  return Buffer.from(JSON.stringify([column, value, row.no])).toString('base64url');
}

function cursorOf(after: string | undefined): { column: number; value: string; no: number } {
  if (after === undefined) return { column: 0, value: '', no: 0 };
  try {
    const [column, value, no] = JSON.parse(Buffer.from(after, 'base64url').toString()) as unknown[];
    if (typeof value === 'string' && Number.isSafeInteger(column) && Number.isSafeInteger(no))
      return { column: column as number, value, no: no as number };
  } catch {
    // Not one of ours: told below.
  }
  throw malformed('that page does not exist');
}
