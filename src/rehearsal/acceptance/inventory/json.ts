import { JSONParser } from '@streamparser/json';
import { WorkspaceError } from '../../../workspace/index.ts';
import { ACCEPTANCE_LIMITS } from '../limits.ts';
import type { Columns, RowReader } from './columns.ts';
import type { UnitEntry, UnitMistake } from './facts.ts';
import type { Inventory } from './inventory.ts';

/**
 * Units of a JSON file, one by one; memory does not grow with the file. Either one array of objects, or one object a line.
 * Places are counted in entries of the array, or in lines. Throws `WorkspaceError` where the file is no JSON.
 */
export async function* jsonUnits(
  pieces: AsyncIterable<Uint8Array>,
  columns: Columns,
  inventory: Pick<Inventory, 'tellUnused'>,
): AsyncGenerator<UnitEntry> {
  const rows = new ObjectRows(columns, inventory);
  let reader: Reader | undefined;
  for await (const piece of pieces) {
    reader ??= startsArray(piece) ? new ArrayReader() : new LineReader();
    for (const [line, value] of reader.push(piece)) yield rows.entry(line, value);
  }
  for (const [line, value] of reader?.end() ?? []) yield rows.entry(line, value);
}

type Numbered = readonly [line: number, value: unknown];

interface Reader {
  push(piece: Uint8Array): Numbered[];
  end(): Numbered[];
}

const OPENING = '['.charCodeAt(0);
const BLANKS: readonly number[] = [0x20, 0x09, 0x0a, 0x0d, 0xef, 0xbb, 0xbf];

function startsArray(piece: Uint8Array): boolean {
  return piece.find((byte) => !BLANKS.includes(byte)) === OPENING;
}

class ArrayReader implements Reader {
  readonly #parser = new JSONParser({ paths: ['$.*'], keepStack: false });
  #found: Numbered[] = [];
  #count = 0;
  #begun = false;
  #fault: Error | undefined;

  constructor() {
    this.#parser.onValue = ({ value }) => {
      this.#count += 1;
      this.#found.push([this.#count, value]);
    };
    this.#parser.onError = (error) => {
      this.#fault ??= error;
    };
  }

  push(piece: Uint8Array): Numbered[] {
    const bytes = this.#begun ? piece : withoutMark(piece);
    this.#begun = true;
    return this.#attempt(() => this.#parser.write(bytes));
  }

  end(): Numbered[] {
    return this.#attempt(() => {
      if (!this.#parser.isEnded) this.#parser.end();
    });
  }

  #attempt(action: () => void): Numbered[] {
    action();
    if (this.#fault) throw noJson(`after entry ${this.#count}`, this.#fault);
    const found = this.#found;
    this.#found = [];
    return found;
  }
}

/** A byte order mark says nothing in UTF-8 and is passed over. */
function withoutMark(piece: Uint8Array): Uint8Array {
  return piece[0] === 0xef && piece[1] === 0xbb && piece[2] === 0xbf ? piece.subarray(3) : piece;
}

class LineReader implements Reader {
  readonly #decoder = new TextDecoder();
  #rest = '';
  #line = 0;

  push(piece: Uint8Array): Numbered[] {
    const lines = (this.#rest + this.#decoder.decode(piece, { stream: true })).split('\n');
    this.#rest = lines.pop()!;
    if (this.#rest.length > ACCEPTANCE_LIMITS.recordCharacters.value)
      throw noJson(`line ${this.#line + 1}`, 'the line has no end');
    return lines.flatMap((line) => this.#parse(line));
  }

  end(): Numbered[] {
    return this.#parse(this.#rest + this.#decoder.decode());
  }

  #parse(text: string): Numbered[] {
    this.#line += 1;
    if (text.trim() === '') return [];
    try {
      return [[this.#line, JSON.parse(text)]];
    } catch (error) {
      throw noJson(`line ${this.#line}`, error);
    }
  }
}

/** Objects name their own columns, and may leave out any. */
class ObjectRows {
  readonly #columns: Columns;
  readonly #inventory: Pick<Inventory, 'tellUnused'>;
  #header: string[];
  #reader: RowReader | undefined;

  constructor(columns: Columns, inventory: Pick<Inventory, 'tellUnused'>) {
    this.#columns = columns;
    this.#header = [...new Set(columns.named)];
    this.#inventory = inventory;
  }

  entry(line: number, value: unknown): UnitEntry {
    const place = { line };
    if (!isObject(value)) {
      const found = Array.isArray(value) ? 'a list' : JSON.stringify(value);
      return { place, facts: {}, mistake: { fact: 'entry', expected: 'an object', found: short(found) } };
    }
    const reader = this.#readerFor(value);
    const odd = this.#header.flatMap((name) => mistakeIn(name, value[name]) ?? []);
    const facts = reader.read(this.#header.map((name) => textOf(value[name])));
    return odd[0] ? { place, facts, mistake: odd[0] } : { place, facts };
  }

  #readerFor(value: Record<string, unknown>): RowReader {
    const fresh = Object.keys(value).filter((name) => !this.#header.includes(name));
    if (this.#reader && fresh.length === 0) return this.#reader;
    // A field that only later entries have is a column all the same.
    this.#header = [...this.#header, ...fresh];
    this.#reader = this.#columns.forHeader(this.#header);
    this.#inventory.tellUnused(this.#reader.unused);
    return this.#reader;
  }
}

function isObject(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** Values as texts: a number where JSON keeps it exactly, a truth as yes or no, a list of texts parted by blanks. */
function textOf(value: unknown): string | undefined {
  if (typeof value === 'string') return value;
  if (typeof value === 'number') return String(value);
  if (typeof value === 'boolean') return value ? 'yes' : 'no';
  return Array.isArray(value) ? value.map(String).join(' ') : undefined;
}

function mistakeIn(fact: string, value: unknown): UnitMistake | undefined {
  if (isObject(value)) return { fact, expected: 'a text, a number, or a list of texts', found: 'an object' };
  if (typeof value !== 'number' || Number.isSafeInteger(value)) return undefined;
  return {
    fact,
    expected: 'a whole number below 2^53, or text: JSON readers lose digits beyond',
    found: String(value),
  };
}

function short(text: string): string {
  return text.length > 60 ? `${text.slice(0, 60)}…` : text;
}

function noJson(place: string, why: unknown): WorkspaceError {
  const says = why instanceof Error ? why.message : String(why);
  return new WorkspaceError('wrong-value', `the inventory is no JSON: ${place}: ${short(says)}`, {
    hint: 'write an array of objects, or one object a line',
  });
}
