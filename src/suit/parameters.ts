import type { CborItem } from '../cbor/index.ts';
import { CoseError, decodeEncrypted } from '../cose/index.ts';
import { type ComponentMetadata, readComponentMetadata } from './component-metadata.ts';
import { type DeltaInfo, readDeltaInfo } from './delta-info.ts';
import { readComputableDigest, type SuitDigest } from './digest.ts';
import { SuitError } from './errors.ts';
import { SUIT_LIMITS } from './limits.ts';
import { asBoolean, asBytes, asInteger, asMap, asText, asUint, decodeAt } from './read.ts';
import {
  type Extensions,
  HIGHEST_CUSTOM_CODE,
  NO_EXTENSIONS,
  PARAMETERS,
  type ParameterRow,
  type ParameterType,
  runsWith,
} from './tables/index.ts';
import { readVersionMatch, type VersionMatch } from './version.ts';
import { readWaitInfo, type WaitInfo } from './wait.ts';

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
  /** A COSE_Encrypt with tag 96 and nil ciphertext, checked for its structure; who decrypts opens it. */
  readonly 19: Uint8Array;
  readonly 21: string;
  readonly 22: number;
  readonly 23: Uint8Array;
  readonly 24: Uint8Array;
  readonly 25: Uint8Array;
  readonly 26: number;
  readonly 27: number;
  readonly 28: VersionMatch;
  readonly 29: WaitInfo;
  readonly 30: ComponentMetadata;
  readonly [-257]: DeltaInfo;
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
  /** Default: none. */
  readonly extensions?: Extensions;
}

/**
 * Reads the argument of override-parameters ([M] section 8.4.10.3) or set-parameters ([TD] section 5.6.1): every
 * parameter known and run here, of its type. Throws `SuitError`.
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
    const row = requireParameter(key, context);
    values.set(row.code, READERS[row.type](value, row, context));
  }
  return values as Parameters;
}

/** The row of a parameter that runs here. Throws `SuitError`. */
export function requireParameter(key: CborItem, context: ParameterContext): ParameterRow {
  const code = asInteger(key, 'the code of a parameter', 'parameter-unknown');
  const row = PARAMETERS.get(code);
  const custom = code <= HIGHEST_CUSTOM_CODE;
  if (custom && context.inShared) {
    throw new SuitError(
      'shared-sequence',
      key.start,
      `custom parameter ${code} in the shared sequence, where none may stand ([M] section 8.4.8.16)`,
    );
  }
  if (row && runsWith(row, context.extensions ?? NO_EXTENSIONS)) return row;
  if (row) {
    throw new SuitError(
      'parameter-unsupported',
      key.start,
      `${row.name} (${code}, ${row.source}) is not supported here; the manifest cannot be followed as meant`,
    );
  }
  const kind = custom ? 'custom parameter' : 'parameter';
  throw new SuitError('parameter-unknown', key.start, `${kind} ${code} is unknown ([M] section 6.1)`);
}

type Reader = (item: CborItem, row: ParameterRow, context: ParameterContext) => ParameterValue;

const READERS: Readonly<Record<ParameterType, Reader>> = {
  vendor: (item, row) => (item.type === 'tag' ? readEnterpriseNumber(item, row) : readUuid(item, row)),
  uuid: readUuid,
  digest: (item, row) => readComputableDigest(unwrap(item, row)),
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
  'version-match': (item, row) => readVersionMatch(unwrap(item, row)),
  'encryption-info': readEncryptionInfo,
  'wait-info': (item, row) => readWaitInfo(unwrap(item, row)),
  'component-metadata': (item, row) => readComponentMetadata(unwrap(item, row)),
  'delta-info': (item, row, { componentCount }) => {
    const info = readDeltaInfo(unwrap(item, row));
    requireComponent(info.precursor, componentCount, item.start);
    return info;
  },
};

/** Structured parameters are wrapped in a byte string ([M] section 8.4.8). */
function unwrap(item: CborItem, row: ParameterRow): CborItem {
  const wrapped = asBytes(item, row.name, 'parameter-type');
  return decodeAt(wrapped.value, wrapped.contentStart);
}

/** SUIT_Encryption_Info: its structure is settled before anything runs, its keys only when it is used. */
function readEncryptionInfo(item: CborItem, row: ParameterRow): Uint8Array {
  const { value, contentStart } = asBytes(item, row.name, 'parameter-type');
  try {
    const { ciphertext } = decodeEncrypted(value, { kind: 'encrypt', base: contentStart });
    if (!ciphertext) return value;
  } catch (error) {
    if (!(error instanceof CoseError)) throw error;
    throw new SuitError('parameter-type', error.offset, `${row.name}: ${error.message}`, { cause: error });
  }
  throw new SuitError(
    'parameter-type',
    contentStart,
    `${row.name} holds a ciphertext: it must be nil, the ciphertext is the payload ([FE] section 5)`,
  );
}

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
