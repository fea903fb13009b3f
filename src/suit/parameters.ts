import type { CborItem } from '../cbor/index.ts';
import { readComputableDigest, type SuitDigest } from './digest.ts';
import { SuitError } from './errors.ts';
import { SUIT_LIMITS } from './limits.ts';
import { asBoolean, asBytes, asInteger, asMap, asText, asUint, decodeAt } from './read.ts';
import { HIGHEST_CUSTOM_CODE, PARAMETERS, type ParameterRow, type ParameterType } from './tables/index.ts';
import { readVersionMatch, type VersionMatch } from './version.ts';

/** A vendor named by its private enterprise number: the relative OID under tag 112 ([M] section 8.4.8.3). */
export interface EnterpriseNumber {
  readonly pen: Uint8Array;
}

/** What each parameter that runs holds, by code. Sizes in bytes, energy in mWh, time in seconds since 1970. */
export interface ParameterTypes {
  readonly 1: Uint8Array | EnterpriseNumber;
  readonly 2: Uint8Array;
  readonly 3: SuitDigest;
  readonly 4: bigint;
  readonly 5: number;
  readonly 12: boolean;
  readonly 13: boolean;
  readonly 14: number;
  readonly 18: Uint8Array;
  readonly 21: string;
  readonly 22: number;
  readonly 23: Uint8Array;
  readonly 24: Uint8Array;
  readonly 26: number;
  readonly 27: number;
  readonly 28: VersionMatch;
}
export type ParameterCode = keyof ParameterTypes;
export type ParameterValue = ParameterTypes[ParameterCode];

/** Parameters by code, as a read-only map whose `get` knows the type that belongs to a code. */
export interface Parameters extends Omit<ReadonlyMap<number, ParameterValue>, 'get'> {
  get<K extends ParameterCode>(code: K): ParameterTypes[K] | undefined;
  get(code: number): ParameterValue | undefined;
}

/** Where a map of parameters stands. */
export interface ParameterContext {
  readonly componentCount: number;
  readonly inShared: boolean;
}

/**
 * Reads the argument of override-parameters ([M] section 8.4.10.3): every parameter known and run here, of its
 * type. Throws `SuitError`.
 */
export function readParameters(item: CborItem, context: ParameterContext): Parameters {
  const { entries } = asMap(item, 'a set of parameters', 'command-argument');
  if (entries.length === 0) {
    throw new SuitError(
      'command-argument',
      item.start,
      'a set of parameters must hold one at least ([M] Appendix A)',
    );
  }
  const values = new Map<number, ParameterValue>();
  for (const { key, value } of entries) {
    const row = requireRow(key, context);
    values.set(row.code, READERS[row.type](value, row, context));
  }
  return values as Parameters;
}

function requireRow(key: CborItem, context: ParameterContext): ParameterRow {
  const code = asInteger(key, 'the code of a parameter', 'parameter-unknown');
  const row = PARAMETERS.get(code);
  if (row?.support === 'runs') return row;
  if (row) {
    throw new SuitError(
      'parameter-unsupported',
      key.start,
      `${row.name} (${code}, ${row.source}) is not supported here; the manifest cannot be followed as meant`,
    );
  }
  const custom = code <= HIGHEST_CUSTOM_CODE;
  if (custom && context.inShared) {
    throw new SuitError(
      'shared-sequence',
      key.start,
      `custom parameter ${code} in the shared sequence, where none may stand ([M] section 8.4.8.16)`,
    );
  }
  const kind = custom ? 'custom parameter' : 'parameter';
  throw new SuitError('parameter-unknown', key.start, `${kind} ${code} is unknown ([M] section 6.1)`);
}

type Reader = (item: CborItem, row: ParameterRow, context: ParameterContext) => ParameterValue;

const READERS: Readonly<Record<ParameterType, Reader>> = {
  vendor: (item, row) => (item.type === 'tag' ? readEnterpriseNumber(item, row) : readUuid(item, row)),
  uuid: readUuid,
  digest: (item, row) => {
    const wrapped = asBytes(item, row.name, 'parameter-type');
    return readComputableDigest(decodeAt(wrapped.value, wrapped.contentStart));
  },
  uint: (item, row) => asUint(item, row.name, 'parameter-type'),
  uint64: (item, row) => {
    if (item.type === 'uint') return BigInt(item.value);
    throw new SuitError('parameter-type', item.start, `${row.name} must be an unsigned integer`);
  },
  int: (item, row) => asInteger(item, row.name, 'parameter-type'),
  bool: (item, row) => asBoolean(item, row.name, 'parameter-type'),
  bytes: readBytes,
  text: (item, row) => asText(item, row.name, 'parameter-type'),
  component: (item, row, context) => {
    const index = asUint(item, row.name, 'parameter-type');
    requireComponent(index, context.componentCount, item.start);
    return index;
  },
  'version-match': (item, row) => {
    const wrapped = asBytes(item, row.name, 'parameter-type');
    return readVersionMatch(decodeAt(wrapped.value, wrapped.contentStart));
  },
  unread: (item, row) => {
    throw new SuitError('parameter-unsupported', item.start, `${row.name} is not supported here`);
  },
};

function readUuid(item: CborItem, row: ParameterRow): Uint8Array {
  const { value } = asBytes(item, row.name, 'parameter-type');
  if (value.length === 16) return value;
  throw new SuitError(
    'parameter-type',
    item.start,
    `${row.name} must be a UUID of 16 bytes, found ${value.length}`,
  );
}

function readEnterpriseNumber(item: CborItem & { type: 'tag' }, row: ParameterRow): EnterpriseNumber {
  if (item.tag !== 112) {
    throw new SuitError(
      'parameter-type',
      item.start,
      `${row.name} must be a UUID or tag 112, found tag ${item.tag}`,
    );
  }
  return { pen: asBytes(item.item, row.name, 'parameter-type').value };
}

function readBytes(item: CborItem, row: ParameterRow): Uint8Array {
  const { value } = asBytes(item, row.name, 'parameter-type');
  if (value.length <= SUIT_LIMITS.contentSize) return value;
  const found = `${row.name} has ${value.length} bytes; at most ${SUIT_LIMITS.contentSize} are taken`;
  throw new SuitError('limit', item.start, found);
}

/** Throws `SuitError` unless the manifest lists a component with this index ([M] section 6.5). */
export function requireComponent(index: number, count: number, offset: number): void {
  if (index < count) return;
  throw new SuitError(
    'component-index',
    offset,
    `component index ${index}: the manifest lists ${count} component(s), counted from 0`,
  );
}
