import { toHex } from '../../bytes/index.ts';
import type { CborItem } from '../../cbor/index.ts';
import { VCDIFF } from '../delta-info.ts';
import { DIGEST_ALGORITHMS, PARAMETERS, type ParameterType, WAIT_EVENTS } from '../tables/index.ts';
import { formatUuid } from '../uuid.ts';
import { COMPARISONS, formatVersion } from '../version.ts';
import { ENCRYPTION_INFO } from './cose-shapes.ts';
import { integerOf, named, type Shape, unknownPart } from './shape.ts';
import { byTable, rowOf, titleOf } from './table-shapes.ts';

export const DIGEST: Shape = {
  title: 'digest',
  clause: '[M] 10',
  say: sayDigest,
  element: (index) =>
    index === 0
      ? { name: 'algorithm', shape: named('digest algorithm', '[M] 10', sayDigestAlgorithm) }
      : { name: 'bytes', shape: named('bytes of the digest', '[M] 10') },
};

export function sayDigest(item: CborItem): string | undefined {
  if (item.type !== 'array') return undefined;
  const [algorithm, bytes] = item.items;
  const row = algorithm && rowOf(DIGEST_ALGORITHMS, algorithm);
  return row && bytes?.type === 'bytes' ? `${row.name} ${toHex(bytes.value)}` : undefined;
}

function sayDigestAlgorithm(item: CborItem): string | undefined {
  const row = rowOf(DIGEST_ALGORITHMS, item);
  return row && `${row.code} (${row.name})`;
}

const SEGMENT = named('segment of a component identifier', '[M] 8.4.5.1', sayPrintable);
export const COMPONENT: Shape = {
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

export const VERSION: Shape = { title: 'version', clause: '[UM] 4.4', say: sayVersion };

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

/** [device, comparisons] of a wait for another device. */
const OTHER_DEVICE: Partial<Shape> = {
  element: (index) =>
    index === 0
      ? { name: 'device', shape: named('identifier of the other device', '[UM] 4.5', sayPrintable) }
      : {
          name: 'versions',
          shape: {
            title: 'version comparisons',
            clause: '[UM] 4.5',
            element: (at) => ({ name: String(at), shape: VERSION_MATCH }),
          },
        },
};

const WAIT_INFO: Shape = {
  title: 'events to wait for',
  clause: '[UM] 4.5',
  entry: byTable(WAIT_EVENTS, 'event', (row) => ({
    title: titleOf(row),
    clause: row.source,
    ...(row.type === 'other-device' && OTHER_DEVICE),
  })),
};

const METADATA_NAMES = [
  'default permissions',
  'user permissions',
  'group permissions',
  'role permissions',
  'file type',
  'modification time',
  'creation time',
  'creator',
];

const COMPONENT_METADATA: Shape = {
  title: 'file metadata',
  clause: '[UM] 4.6',
  entry: (key) => {
    const name = METADATA_NAMES[(integerOf(key) ?? 0) - 1];
    return name
      ? { name: name.replace(' ', '-'), shape: named(name, '[UM] 4.6') }
      : unknownPart('metadata', key);
  },
};

const DELTA_NAMES = ['format', 'largest window', 'precursor'] as const;

/** How a delta is applied: docs/deployment-profile.md section 14. */
const DELTA_INFO: Shape = {
  title: 'delta info',
  clause: 'docs/deployment-profile.md 14',
  element: (index) => {
    const name = DELTA_NAMES[index];
    if (!name) return { name: String(index), shape: named('unknown', 'docs/deployment-profile.md 14') };
    return {
      name: name.replace(' ', '-'),
      shape: named(name, 'docs/deployment-profile.md 14', SAY_DELTA[name]),
    };
  },
};

const SAY_DELTA: Readonly<Record<(typeof DELTA_NAMES)[number], NonNullable<Shape['say']>>> = {
  format: (item) => (integerOf(item) === VCDIFF ? 'VCDIFF (RFC 3284)' : undefined),
  'largest window': (item) => sayInteger(item, 'bytes'),
  precursor: (item) => sayInteger(item, 'component'),
};

function sayInteger(item: CborItem, unit: string): string | undefined {
  const value = integerOf(item);
  if (value === undefined) return undefined;
  return unit === 'bytes' ? `${value} bytes` : `${unit} ${value}`;
}

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
  'encryption-info': { wraps: ENCRYPTION_INFO },
  'wait-info': { wraps: WAIT_INFO },
  'component-metadata': { wraps: COMPONENT_METADATA },
  'delta-info': { wraps: DELTA_INFO },
};

export const PARAMETER_MAP: Shape = {
  title: 'parameters',
  clause: '[M] 8.4.8',
  entry: byTable(PARAMETERS, 'parameter', (row) => ({
    title: titleOf(row),
    clause: row.source,
    ...PARAMETER_SHAPES[row.type],
  })),
};
