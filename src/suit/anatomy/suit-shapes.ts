import { toHex } from '../../bytes/index.ts';
import type { CborItem } from '../../cbor/index.ts';
import {
  type ArgumentType,
  COMMANDS,
  COMMON_KEYS,
  COMPONENT_TEXT_KEYS,
  DIGEST_ALGORITHMS,
  type ElementRow,
  type ElementType,
  ENVELOPE_KEYS,
  MANIFEST_KEYS,
  PARAMETERS,
  type ParameterType,
  type Row,
  TEXT_KEYS,
} from '../tables/index.ts';
import { formatUuid } from '../uuid.ts';
import { COMPARISONS, formatVersion } from '../version.ts';
import { AUTHENTICATION_BLOCK } from './cose-shapes.ts';
import { integerOf, named, type Part, type Shape, unknownPart } from './shape.ts';

/** `condition-image-match` is titled "condition: image match". */
function titleOf(row: Row): string {
  const words = row.name.replace(/^(condition|directive|parameter|text)-/, '$1: ').replaceAll('-', ' ');
  return row.support === 'runs' ? words : `${words} (known, not run here)`;
}

function rowOf<R extends Row>(table: ReadonlyMap<number, R>, key: CborItem): R | undefined {
  const code = integerOf(key);
  return code === undefined ? undefined : table.get(code);
}

/** A map whose keys are rows of a table. */
function byTable<R extends Row>(
  table: ReadonlyMap<number, R>,
  what: string,
  shapeOf: (row: R) => Shape,
): Shape['entry'] {
  return (key) => {
    const row = rowOf(table, key);
    return row ? { name: row.name, shape: shapeOf(row) } : unknownPart(what, key);
  };
}

const DIGEST: Shape = {
  title: 'digest',
  clause: '[M] 10',
  say: sayDigest,
  element: (index) =>
    index === 0
      ? { name: 'algorithm', shape: named('digest algorithm', '[M] 10', sayDigestAlgorithm) }
      : { name: 'bytes', shape: named('bytes of the digest', '[M] 10') },
};

function sayDigest(item: CborItem): string | undefined {
  if (item.type !== 'array') return undefined;
  const [algorithm, bytes] = item.items;
  const row = algorithm && rowOf(DIGEST_ALGORITHMS, algorithm);
  return row && bytes?.type === 'bytes' ? `${row.name} ${toHex(bytes.value)}` : undefined;
}

function sayDigestAlgorithm(item: CborItem): string | undefined {
  const row = rowOf(DIGEST_ALGORITHMS, item);
  return row && `${row.code} (${row.name})`;
}

/** SUIT_Authentication: digest first, then blocks ([M] section 8.3). */
const AUTHENTICATION: Shape = {
  title: 'digest and authentication blocks',
  clause: '[M] 8.3',
  element: (index) =>
    index === 0
      ? {
          name: 'digest',
          shape: { title: 'digest of the manifest, wrapped', clause: '[M] 8.3', wraps: DIGEST },
        }
      : {
          name: `block-${index}`,
          shape: {
            title: `authentication block ${index}, wrapped`,
            clause: '[M] 8.3',
            wraps: AUTHENTICATION_BLOCK,
          },
        },
};

const SEGMENT = named('segment of a component identifier', '[M] 8.4.5.1', sayPrintable);
const COMPONENT: Shape = {
  title: 'component identifier',
  clause: '[M] 8.4.5.1',
  say: sayComponent,
  element: (index) => ({ name: String(index), shape: SEGMENT }),
};

/** Segments by slashes, printable ones as text, others in hexadecimal. */
function sayComponent(item: CborItem): string | undefined {
  if (item.type !== 'array') return undefined;
  const segments = item.items.map((segment) =>
    segment.type === 'bytes' ? (sayPrintable(segment) ?? `h'${toHex(segment.value)}'`) : segment.type,
  );
  return segments.join(' / ');
}

function sayPrintable(item: CborItem): string | undefined {
  if (item.type !== 'bytes' || item.value.length === 0 || item.value.length > 64) return undefined;
  const printable = item.value.every((byte) => byte >= 0x20 && byte < 0x7f);
  return printable ? `'${String.fromCharCode(...item.value)}'` : undefined;
}

const VERSION: Shape = { title: 'version', clause: '[UM] 4.4', say: sayVersion };

function sayVersion(item: CborItem): string | undefined {
  if (item.type !== 'array') return undefined;
  const numbers = item.items.map(integerOf);
  return numbers.every((part) => part !== undefined) ? formatVersion(numbers) : undefined;
}

const VERSION_MATCH: Shape = {
  title: 'version comparison',
  clause: '[UM] 4.4',
  element: (index) =>
    index === 0
      ? {
          name: 'operator',
          shape: named('operator', '[UM] 4.4', (item) => COMPARISONS[(integerOf(item) ?? 0) - 1]),
        }
      : { name: 'version', shape: VERSION },
};

const sayUuid: Shape['say'] = (item) =>
  item.type === 'bytes' && item.value.length === 16 ? formatUuid(item.value) : undefined;

const PARAMETER_SHAPES: Readonly<Record<ParameterType, Partial<Shape>>> = {
  vendor: { say: sayUuid },
  uuid: { say: sayUuid },
  digest: { wraps: DIGEST },
  uint: {},
  uint64: {},
  int: {},
  bool: {},
  bytes: {},
  text: {},
  component: {},
  'version-match': { wraps: VERSION_MATCH },
  'encryption-info': {},
  'wait-info': {},
  'component-metadata': {},
};

const PARAMETER_MAP: Shape = {
  title: 'parameters',
  clause: '[M] 8.4.8',
  entry: byTable(PARAMETERS, 'parameter', (row) => ({
    title: titleOf(row),
    clause: row.source,
    ...PARAMETER_SHAPES[row.type],
  })),
};

const POLICY_BITS = ['record on success', 'record on failure', 'system on success', 'system on failure'];

/** A reporting policy in words ([M] section 8.4.7). */
function sayPolicy(item: CborItem): string | undefined {
  const policy = integerOf(item);
  if (policy === undefined || policy < 0 || policy > 15) return undefined;
  if (policy === 0) return '0 (report nothing)';
  if (policy === 15) return '15 (report everything)';
  return `${policy} (report: ${POLICY_BITS.filter((_, bit) => (policy >> bit) & 1).join(', ')})`;
}

/** A command sequence: codes and arguments by turns ([M] section 8.4.6). */
const SEQUENCE: Shape = { title: 'command sequence', clause: '[M] 8.4.6', pair: commandPart };

function commandPart(code: CborItem): Part {
  const row = rowOf(COMMANDS, code);
  if (!row) return unknownPart('command', code);
  return {
    name: row.name,
    shape: { ...ARGUMENT_SHAPES[row.argument], title: titleOf(row), clause: row.source },
  };
}

const WRAPPED_SEQUENCE: Shape = { title: 'command sequence, wrapped', clause: '[M] 8.4.6', wraps: SEQUENCE };

const ARGUMENT_SHAPES: Readonly<Record<ArgumentType, Partial<Shape>>> = {
  policy: { say: sayPolicy },
  index: { say: (item) => (item.type === 'simple' && item.value === true ? 'every component' : undefined) },
  parameters: PARAMETER_MAP,
  branches: { element: (index) => ({ name: `branch-${index}`, shape: WRAPPED_SEQUENCE }) },
  sequence: WRAPPED_SEQUENCE,
  'parameters-by-component': {},
  'parameter-copies': {},
};

/** SUIT_Common ([M] section 8.4.5). */
const COMMON: Shape = {
  title: 'common',
  clause: '[M] 8.4.5',
  entry: byTable(COMMON_KEYS, 'element', (row) => ({
    title: titleOf(row),
    clause: row.source,
    ...(row.code === 2 && { element: (index: number) => ({ name: String(index), shape: COMPONENT }) }),
    ...(row.code === 4 && { wraps: SEQUENCE }),
  })),
};

const componentTextPart = byTable(COMPONENT_TEXT_KEYS, 'text', (row) => named(titleOf(row), row.source))!;
const COMPONENT_TEXTS: Shape = {
  title: 'texts of a component',
  clause: '[M] 8.4.4',
  entry: componentTextPart,
};
const manifestTextPart = byTable(TEXT_KEYS, 'text', (row) => named(titleOf(row), row.source))!;
const LANGUAGE_TEXTS: Shape = {
  title: 'texts in one language',
  clause: '[M] 8.4.4',
  entry: (key) =>
    key.type === 'array' ? { name: componentName(key), shape: COMPONENT_TEXTS } : manifestTextPart(key),
};

/** A path segment that tells components apart. */
function componentName(key: CborItem & { type: 'array' }): string {
  const segments = key.items.map((each) => (each.type === 'bytes' ? toHex(each.value) : each.type));
  return `component-${segments.join('.')}`;
}

const TEXT: Shape = {
  title: 'texts for people',
  clause: '[M] 8.4.4',
  entry: (key) => ({ name: key.type === 'text' ? key.value : key.type, shape: LANGUAGE_TEXTS }),
};

const ELEMENT_SHAPES: Readonly<Record<ElementType, Partial<Shape>>> = {
  authentication: { wraps: AUTHENTICATION },
  get manifest() {
    return { wraps: MANIFEST };
  },
  uint: {},
  common: { wraps: COMMON },
  'text-string': {},
  'component-identifier': COMPONENT,
  version: { wraps: VERSION },
  sequence: { wraps: SEQUENCE },
  'text-map': { wraps: TEXT },
  opaque: {},
};

/** An element of the envelope by its integer key ([M] section 8.2). */
export function envelopePart(key: number): Part {
  const row = ENVELOPE_KEYS.get(key);
  if (row) return { name: row.name, shape: elementShape(row) };
  return { name: String(key), shape: named(`element ${key}, not defined in the drafts`, '[M] 11.1') };
}

/** An element of the envelope or the manifest; where it is severed, an array stands for its digest. */
function elementShape(row: ElementRow): Shape {
  const shape = { ...ELEMENT_SHAPES[row.type], title: titleOf(row), clause: row.source };
  return row.severable ? { ...shape, element: DIGEST.element!, say: sayDigest } : shape;
}

/** SUIT_Manifest ([M] section 8.4). */
const MANIFEST: Shape = {
  title: 'manifest',
  clause: '[M] 8.4',
  entry: byTable(MANIFEST_KEYS, 'element', elementShape),
};

/** A manifest under its own tag, outside any envelope ([M] section 11). */
export const TAGGED_MANIFEST: Shape = {
  title: 'manifest without an envelope',
  clause: '[M] 11',
  tagged: (tag) => (tag === 1070 ? MANIFEST : named(`an item tagged ${tag}`, '')),
};
