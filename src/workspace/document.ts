import { type Document, isMap, isNode, isPair, isScalar, LineCounter, parseDocument, visit } from 'yaml';
import * as z from 'zod';
import { invalidFile, type Mistake } from './errors.ts';

/** Places in a text: line and column, both from 1. */
interface Place {
  line: number;
  column: number;
}

type Path = readonly PropertyKey[];

/** A mistake that a schema alone cannot see, by the path of its field. */
export type Unplaced = Pick<Mistake, 'expected' | 'says' | 'example'> & {
  readonly path: readonly (string | number)[];
};

/**
 * Reads a file that people write or may have damaged, YAML or JSON (a JSON text is YAML 1.2 too), against a
 * schema. Throws `file-invalid` with every mistake: line, column, field, what was expected, what was found and an
 * example where the schema has one. `sense`: mistakes that the schema alone cannot see.
 */
export function readDocument<S extends z.ZodType>(
  text: string,
  file: string,
  schema: S,
  sense: (facts: z.output<S>) => Iterable<Unplaced> = () => [],
): z.output<S> {
  const lines = new LineCounter();
  const document = parseDocument(text, {
    lineCounter: lines,
    uniqueKeys: true,
    prettyErrors: false,
    strict: true,
    // Keys that are no text are told as mistakes below; the library would also print a warning of its own.
    logLevel: 'error',
  });
  const broken = [
    // Of broken YAML the first fault only: the others mostly follow from it.
    ...document.errors.slice(0, 1).map((error) => syntaxMistake(error, text, lines)),
    ...aliasMistakes(document, lines),
  ];
  if (broken.length > 0) throw invalidFile(file, broken);
  const result = schema.safeParse(document.toJS());
  if (result.success) {
    const mistakes = [...sense(result.data)].map(({ path, ...rest }) => mistakeAt(text, path, rest));
    if (mistakes.length === 0) return result.data;
    throw invalidFile(file, mistakes);
  }
  throw invalidFile(
    file,
    result.error.issues.flatMap((issue) => schemaMistakes(issue, schema, document, lines)),
  );
}

/** The place of a field in the text of a document, for mistakes that the schema alone cannot see. */
export function mistakeAt(
  text: string,
  path: Path,
  facts: Pick<Mistake, 'expected' | 'says' | 'example'>,
): Mistake {
  const lines = new LineCounter();
  const document = parseDocument(text, { lineCounter: lines });
  const found = describeValue(document.getIn(path, true));
  return { ...placeOf(document, path, lines), field: fieldName(path), found, ...facts };
}

const SYNTAX: Readonly<Record<string, readonly [string, string]>> = {
  DUPLICATE_KEY: ['each field once', 'the same field a second time'],
  TAB_AS_INDENT: ['spaces for indentation', 'a tab'],
  BAD_INDENT: ['lines of one block indented alike', 'other indentation'],
};

function syntaxMistake(error: Document['errors'][number], text: string, lines: LineCounter): Mistake {
  const [expected, found] = SYNTAX[error.code] ?? [
    'a whole YAML text',
    error.message.split('\n')[0] ?? 'a fault',
  ];
  const key = error.code === 'DUPLICATE_KEY' ? /^[\w-]*/.exec(text.slice(error.pos[0]))?.[0] : undefined;
  return { ...toPlace(lines.linePos(error.pos[0])), field: key ?? '', expected, found };
}

// An alias lets a short file stand for a huge one, and no class needs it.
function aliasMistakes(document: Document, lines: LineCounter): Mistake[] {
  const mistakes: Mistake[] = [];
  visit(document, {
    Alias(_, alias) {
      const place = toPlace(lines.linePos(alias.range?.[0] ?? 0));
      mistakes.push({
        ...place,
        field: '',
        expected: 'the value itself',
        found: `the alias *${alias.source}`,
      });
    },
  });
  return mistakes;
}

function schemaMistakes(
  issue: z.core.$ZodIssue,
  schema: z.ZodType,
  document: Document,
  lines: LineCounter,
): Mistake[] {
  if (issue.code === 'unrecognized_keys') {
    return issue.keys.map((key) => unknownField(key, issue.path, schema, document, lines));
  }
  const parent = issue.path.slice(0, -1);
  const present = document.hasIn(issue.path);
  const place = placeOf(document, present ? issue.path : parent, lines);
  const example = exampleFor(schema, issue.path);
  return [
    {
      ...place,
      field: fieldName(issue.path),
      expected: issue.message,
      found: present ? describeValue(document.getIn(issue.path, true)) : 'nothing',
      ...(example !== undefined && { example: `${lastName(issue.path)}${example}` }),
    },
  ];
}

function unknownField(
  key: string,
  path: Path,
  schema: z.ZodType,
  document: Document,
  lines: LineCounter,
): Mistake {
  const known = Object.keys(shapeAt(schema, path) ?? {});
  const near = known.find((name) => distance(name, key) <= 2);
  return {
    ...placeOf(document, [...path, key], lines, true),
    field: fieldName([...path, key]),
    expected: near ? `a known field (did you mean ${near}?)` : `one of the fields ${known.join(', ')}`,
    found: `the unknown field ${key}`,
  };
}

function placeOf(document: Document, path: Path, lines: LineCounter, ofKey = false): Place {
  const parent = document.getIn(path.slice(0, -1), true);
  const pair = isMap(parent) ? parent.items.find((item) => keyOf(item.key) === path.at(-1)) : undefined;
  const node = ofKey || path.length === 0 ? pair?.key : document.getIn(path, true);
  const range = rangeOf(node) ?? rangeOf(pair?.key) ?? rangeOf(document.contents);
  return toPlace(lines.linePos(range ?? 0));
}

function rangeOf(node: unknown): number | undefined {
  return isNode(node) && node.range ? node.range[0] : undefined;
}

function keyOf(key: unknown): unknown {
  return isScalar(key) ? key.value : key;
}

function toPlace(position: { line: number; col: number }): Place {
  return { line: Math.max(1, position.line), column: Math.max(1, position.col) };
}

/** `memory.slots[1].size` for a path. */
function fieldName(path: Path): string {
  return path.reduce<string>(
    (name, part) =>
      typeof part === 'number' ? `${name}[${part}]` : name === '' ? String(part) : `${name}.${String(part)}`,
    '',
  );
}

function lastName(path: Path): string {
  const last = path.at(-1);
  return typeof last === 'string' ? `${last}: ` : '';
}

function describeValue(node: unknown): string {
  if (isScalar(node)) return describeScalar(node.value, node.source);
  if (isMap(node)) return 'a group of fields';
  return isPair(node) || isNode(node) ? 'a list' : 'nothing';
}

function describeScalar(value: unknown, source: string | undefined): string {
  if (value === null) return 'nothing';
  const written = (source ?? String(value)).slice(0, 60);
  return `${typeof value === 'string' ? 'the text' : typeof value === 'number' ? 'the number' : 'the value'} ${written}`;
}

// Steps from a schema to the one for a path, through whatever wraps it.
function schemaAt(schema: z.core.$ZodType | undefined, path: Path): z.core.$ZodType | undefined {
  const bare = unwrap(schema);
  const [part, ...rest] = path;
  if (part === undefined || !bare) return bare && (withExample(schema) ?? bare);
  const def = bare._zod.def as { shape?: Record<string, z.core.$ZodType>; element?: z.core.$ZodType };
  return schemaAt(typeof part === 'number' ? def.element : def.shape?.[String(part)], rest);
}

function unwrap(schema: z.core.$ZodType | undefined): z.core.$ZodType | undefined {
  const def = schema?._zod.def as { innerType?: z.core.$ZodType; in?: z.core.$ZodType } | undefined;
  const inner = def?.innerType ?? def?.in;
  return inner ? unwrap(inner) : schema;
}

function withExample(schema: z.core.$ZodType | undefined): z.core.$ZodType | undefined {
  if (!schema || z.globalRegistry.get(schema)?.examples) return schema;
  const def = schema._zod.def as { innerType?: z.core.$ZodType; in?: z.core.$ZodType };
  return withExample(def.innerType ?? def.in);
}

function exampleFor(schema: z.ZodType, path: Path): string | undefined {
  const target = schemaAt(schema, path);
  const examples = target && (z.globalRegistry.get(target)?.examples as readonly unknown[] | undefined);
  return examples?.[0] === undefined ? undefined : writeExample(examples[0]);
}

function writeExample(value: unknown): string {
  return JSON.stringify(value);
}

function shapeAt(schema: z.ZodType, path: Path): Record<string, z.core.$ZodType> | undefined {
  const target = schemaAt(schema, path);
  return (target?._zod.def as { shape?: Record<string, z.core.$ZodType> } | undefined)?.shape;
}

/** Edits between two words (Levenshtein), for "did you mean". */
function distance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, i) => i);
  for (let i = 1; i <= a.length; i++) {
    const next = [i];
    for (let j = 1; j <= b.length; j++) {
      next[j] = Math.min(row[j]! + 1, next[j - 1]! + 1, row[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1));
    }
    row = next;
  }
  return row[b.length]!;
}
