/** Where in a JSON document: field names and list positions. */
export type JsonPath = readonly (string | number)[];

/** Reads one JSON value, or throws `UnitRecordError`. */
export type Reader<T> = (value: unknown, path: JsonPath) => T;

/** A unit record that cannot be used. `path` names the field, from the outermost inwards. */
export class UnitRecordError extends Error {
  override readonly name = 'UnitRecordError';
  readonly code = 'unit-record-invalid';
  readonly path: JsonPath;
  readonly expected: string;

  constructor(path: JsonPath, found: string, expected: string) {
    const where = path.length === 0 ? 'unit record' : `unit record, field ${path.join('.')}`;
    super(`${where}: ${found}; expected ${expected}`);
    this.path = path;
    this.expected = expected;
  }
}

/** Refuses the value at `path`. Never quotes a value that may be secret: callers pass what may be shown. */
export function fail(path: JsonPath, found: string, expected: string): never {
  throw new UnitRecordError(path, found, expected);
}

const OPTIONAL = Symbol('optional');
type OptionalReader<T> = Reader<T | undefined> & { readonly [OPTIONAL]: true };

/** A field that may be missing. */
export function optional<T>(reader: Reader<T>): OptionalReader<T> {
  const read: Reader<T | undefined> = (value, path) => reader(value, path);
  return Object.assign(read, { [OPTIONAL]: true as const });
}

type Fields = Readonly<Record<string, Reader<unknown>>>;
type ObjectOf<F extends Fields> = { [K in keyof F]: F[K] extends Reader<infer T> ? T : never };

/** An object with exactly these fields. */
export function object<F extends Fields>(fields: F): Reader<ObjectOf<F>> {
  const names = Object.keys(fields);
  return (value, path) => {
    if (typeof value !== 'object' || value === null || Array.isArray(value)) {
      return fail(path, kindOf(value), `an object with ${names.join(', ')}`);
    }
    const unknown = Object.keys(value).find((name) => !Object.hasOwn(fields, name));
    if (unknown !== undefined) fail([...path, unknown], 'an unknown field', `only ${names.join(', ')}`);
    const entries: [string, unknown][] = [];
    for (const name of names) {
      const reader = fields[name]!;
      const held = Object.hasOwn(value, name) ? (value as Record<string, unknown>)[name] : undefined;
      if (held === undefined && OPTIONAL in reader) continue;
      if (held === undefined) fail([...path, name], 'missing', 'the field to be there');
      entries.push([name, reader(held, [...path, name])]);
    }
    return Object.fromEntries(entries) as ObjectOf<F>;
  };
}

/** A list whose items all read alike. */
export function list<T>(item: Reader<T>, bounds: { minimum?: number; maximum: number }): Reader<T[]> {
  const { minimum = 0, maximum } = bounds;
  return (value, path) => {
    const expected = `a list of ${minimum} to ${maximum}`;
    if (!Array.isArray(value)) return fail(path, kindOf(value), expected);
    if (value.length < minimum || value.length > maximum) fail(path, `a list of ${value.length}`, expected);
    return value.map((each, index) => item(each, [...path, index]));
  };
}

/** The first reader that takes the value decides; the last one's complaint is reported. */
export function union<T>(...readers: readonly Reader<T>[]): Reader<T> {
  return (value, path) => {
    let complaint: unknown;
    for (const reader of readers) {
      try {
        return reader(value, path);
      } catch (error) {
        complaint = error;
      }
    }
    throw complaint;
  };
}

/** Text of 1 to `maximum` (default 256) characters, of a pattern where one is given. */
export function text(rule: { pattern?: RegExp; expected?: string; maximum?: number }): Reader<string> {
  const { pattern = /^[\s\S]+$/, maximum = 256, expected = `text of 1 to ${maximum} characters` } = rule;
  return (value, path) => {
    if (typeof value !== 'string') return fail(path, kindOf(value), expected);
    return value.length <= maximum && pattern.test(value) ? value : fail(path, 'another text', expected);
  };
}

/** Lower-case hexadecimal of `minimum` to `maximum` bytes. */
export function hex(bounds: { minimum: number; maximum: number }): Reader<string> {
  const { minimum, maximum } = bounds;
  const pattern = new RegExp(`^(?:[0-9a-f]{2}){${minimum},${maximum}}$`);
  const range = minimum === maximum ? `${minimum}` : `${minimum} to ${maximum}`;
  return text({ pattern, maximum: 2 * maximum, expected: `${range} bytes in lower-case hexadecimal` });
}

/** A whole number from 0 to `maximum`. */
export function count(maximum: number): Reader<number> {
  return (value, path) => {
    const good = typeof value === 'number' && Number.isSafeInteger(value) && value >= 0 && value <= maximum;
    return good
      ? value
      : fail(path, JSON.stringify(value) ?? 'nothing', `a whole number from 0 to ${maximum}`);
  };
}

/** True or false. */
export const boolean: Reader<boolean> = (value, path) =>
  typeof value === 'boolean' ? value : fail(path, kindOf(value), 'true or false');

/** One of these texts. */
export function choice<const T extends string>(...values: readonly T[]): Reader<T> {
  return (value, path) => {
    const found = values.find((each) => each === value);
    return (
      found ?? fail(path, typeof value === 'string' ? value : kindOf(value), `one of ${values.join(', ')}`)
    );
  };
}

/** This text and no other. */
export function literal<const T extends string>(only: T): Reader<T> {
  return choice(only);
}

function kindOf(value: unknown): string {
  if (value === null) return 'null';
  return Array.isArray(value) ? 'a list' : `a ${typeof value}`;
}
