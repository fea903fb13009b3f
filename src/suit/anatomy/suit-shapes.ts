import { toHex } from '../../bytes/index.ts';
import type { CborItem } from '../../cbor/index.ts';
import {
  type ArgumentType,
  COMMANDS,
  COMMON_KEYS,
  COMPONENT_TEXT_KEYS,
  type ElementRow,
  type ElementType,
  ENVELOPE_KEYS,
  MANIFEST_KEYS,
  PARAMETERS,
  TEXT_KEYS,
} from '../tables/index.ts';
import { AUTHENTICATION_BLOCK } from './cose-shapes.ts';
import { COMPONENT, DIGEST, PARAMETER_MAP, sayDigest, VERSION } from './parameter-shapes.ts';
import { integerOf, named, type Part, type Shape, unknownPart } from './shape.ts';
import { byTable, rowOf, titleOf } from './table-shapes.ts';

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
  'parameters-by-component': { entry: (key) => ({ name: componentIndex(key), shape: PARAMETER_MAP }) },
  'parameter-copies': {
    entry: (key) => ({
      name: componentIndex(key),
      shape: {
        title: 'parameters to copy',
        clause: '[UM] 5.8',
        element: (index) => ({ name: String(index), shape: named('parameter', '[UM] 5.8', sayParameter) }),
      },
    }),
  },
};

function componentIndex(key: CborItem): string {
  return `component-${integerOf(key) ?? key.type}`;
}

function sayParameter(item: CborItem): string | undefined {
  const row = rowOf(PARAMETERS, item);
  return row && `${row.code} (${titleOf(row)})`;
}

/** SUIT_Dependencies ([TD] section 5.2.2). */
const DEPENDENCIES: Partial<Shape> = {
  entry: (key) => ({
    name: componentIndex(key),
    shape: {
      title: 'metadata of a dependency',
      clause: '[TD] 5.2.2',
      entry: (label) =>
        integerOf(label) === 1
          ? {
              name: 'prefix',
              shape: { ...COMPONENT, title: 'prefix of the dependency', clause: '[TD] 5.2.2' },
            }
          : unknownPart('metadata', label),
    },
  }),
};

/** SUIT_Common ([M] section 8.4.5). */
const COMMON: Shape = {
  title: 'common',
  clause: '[M] 8.4.5',
  entry: byTable(COMMON_KEYS, 'element', (row) => ({
    title: titleOf(row),
    clause: row.source,
    ...(row.code === 1 && DEPENDENCIES),
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
