import { CsvError, parse } from 'csv-parse';
import { WorkspaceError } from '../../../workspace/index.ts';
import { ACCEPTANCE_LIMITS } from '../limits.ts';
import type { Columns } from './columns.ts';
import type { UnitEntry } from './facts.ts';
import type { Inventory } from './inventory.ts';

/**
 * Units of a CSV file (RFC 4180), row by row; memory does not grow with the file. The first line names the columns. A row
 * of another length is a unit that cannot be read. Throws `WorkspaceError` where the file is no CSV.
 */
export async function* csvUnits(
  pieces: AsyncIterable<Uint8Array>,
  columns: Columns,
  inventory: Pick<Inventory, 'tellUnused'>,
): AsyncGenerator<UnitEntry> {
  const parser = parse({
    bom: true,
    delimiter: columns.delimiter,
    relax_column_count: true,
    skip_empty_lines: true,
    max_record_size: ACCEPTANCE_LIMITS.recordCharacters.value,
    info: true,
  });
  const fed = feed(parser, pieces);
  let reader: ReturnType<Columns['forHeader']> | undefined;
  let width = 0;
  try {
    for await (const { record, info } of parser as AsyncIterable<ParsedRecord>) {
      if (!reader) {
        reader = columns.forHeader(record);
        width = record.length;
        inventory.tellUnused(reader.unused);
        continue;
      }
      const place = { line: info.lines };
      const facts = reader.read(record);
      if (record.length === width) yield { place, facts };
      else yield { place, facts, mistake: otherLength(record.length, width) };
    }
    await fed;
  } catch (error) {
    throw error instanceof CsvError ? noCsv(error) : error;
  }
  if (!reader) throw empty();
}

interface ParsedRecord {
  readonly record: string[];
  readonly info: { readonly lines: number };
}

async function feed(parser: ReturnType<typeof parse>, pieces: AsyncIterable<Uint8Array>): Promise<void> {
  try {
    for await (const piece of pieces) {
      if (parser.destroyed) return;
      if (!parser.write(piece)) await drained(parser);
    }
    parser.end();
  } catch (error) {
    parser.destroy(error as Error);
  }
}

/** Until there is room again, or nobody reads on. */
function drained(parser: ReturnType<typeof parse>): Promise<void> {
  return new Promise((resolve) => {
    const done = () => {
      parser.off('drain', done);
      parser.off('close', done);
      resolve();
    };
    parser.on('drain', done);
    parser.on('close', done);
  });
}

function otherLength(found: number, expected: number) {
  return { fact: 'row', expected: `${expected} columns, as in line 1`, found: `${found} columns` };
}

function noCsv(error: CsvError & { lines?: number; column?: string | number }): WorkspaceError {
  const place = error.lines === undefined ? '' : `line ${error.lines}: `;
  // The library quotes what stands there: a stranger's bytes, which are not to be shown.
  const what = error.message.replace(/, value is .*$/s, '').replace(/ at line \d+$/, '');
  return new WorkspaceError('wrong-value', `the inventory is no CSV from there on: ${place}${what}`, {
    hint: 'write it as CSV (RFC 4180), values with commas or quotes in quotes; another delimiter stands in the columns file',
  });
}

function empty(): WorkspaceError {
  return new WorkspaceError('wrong-value', 'the inventory is empty: it has no line that names its columns', {
    hint: 'the first line names the columns, for example serial,class,sequence_number',
  });
}
