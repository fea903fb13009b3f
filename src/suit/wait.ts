import { type CborItem, CborMap, type CborValue } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import { asArray, asBytes, asInteger, asMap, asUint } from './read.ts';
import { WAIT_EVENTS, type WaitEventRow } from './tables/index.ts';
import { readVersionMatch, type VersionMatch, versionMatchValue } from './version.ts';

/** Another device, and what its version must satisfy. The name space is the deployment's ([UM] section 4.5). */
export interface OtherDevice {
  readonly device: Uint8Array;
  readonly versions: readonly VersionMatch[];
}

/** What a wait waits for, by event code: all of it must hold ([UM] section 4.5). Times in seconds. */
export interface WaitEvents {
  /** Priority, as update-priority: smaller is more urgent. */
  readonly 1: number;
  /** Power state, meaning defined by the deployment. */
  readonly 2: number;
  /** Network state, meaning defined by the deployment. */
  readonly 3: number;
  readonly 4: OtherDevice;
  /** Since 1970-01-01. */
  readonly 5: bigint;
  /** Since 00:00:00 UTC. */
  readonly 8: number;
  /** Days since Sunday, UTC. */
  readonly 9: number;
}
export type WaitInfo = Partial<WaitEvents>;

type Reader = (item: CborItem, row: WaitEventRow) => number | bigint | OtherDevice;

/** SUIT_Wait_Event. Throws `SuitError`. */
export function readWaitInfo(item: CborItem): WaitInfo {
  const { entries } = asMap(item, 'wait info', 'parameter-type');
  if (entries.length === 0) {
    throw new SuitError('parameter-type', item.start, 'wait info names no event ([UM] Appendix A)');
  }
  return Object.fromEntries(
    entries.map(({ key, value }) => {
      const row = requireEvent(key);
      return [row.code, READERS[row.type](value, row)];
    }),
  );
}

/** Wait info as CBOR: the map that `readWaitInfo` reads. */
export function waitInfoValue(info: WaitInfo): CborMap {
  return new CborMap(
    Object.entries(info).map(([code, value]): [CborValue, CborValue] => [Number(code), eventValue(value)]),
  );
}

function eventValue(value: number | bigint | OtherDevice): CborValue {
  if (typeof value !== 'object') return value;
  return [value.device, value.versions.map(versionMatchValue)];
}

function requireEvent(key: CborItem): WaitEventRow {
  const code = asInteger(key, 'the code of a wait event', 'parameter-unknown');
  const row = WAIT_EVENTS.get(code);
  if (row?.support === 'runs') return row;
  if (!row) {
    throw new SuitError('parameter-unknown', key.start, `wait event ${code} is unknown ([M] section 6.1)`);
  }
  throw new SuitError(
    'parameter-unsupported',
    key.start,
    `${row.name} (${code}, ${row.source}) is in local time, whose rules a unit does not have: use the UTC event`,
  );
}

const READERS: Readonly<Record<WaitEventRow['type'], Reader>> = {
  int: (item, row) => asInteger(item, row.name, 'parameter-type'),
  uint64: (item, row) => {
    if (item.type === 'uint') return BigInt(item.value);
    throw new SuitError('parameter-type', item.start, `${row.name} must be an unsigned integer`);
  },
  'other-device': readOtherDevice,
  'seconds-of-day': (item, row) => below(86_400, item, row),
  'day-of-week': (item, row) => below(7, item, row),
};

function below(end: number, item: CborItem, row: WaitEventRow): number {
  const value = asUint(item, row.name, 'parameter-type');
  if (value < end) return value;
  const found = `${row.name} of ${value} never comes: 0 to ${end - 1} do`;
  throw new SuitError('parameter-type', item.start, found);
}

function readOtherDevice(item: CborItem, row: WaitEventRow): OtherDevice {
  const parts = asArray(item, row.name, 'parameter-type');
  const versions = parts.length === 2 ? asArray(parts[1]!, row.name, 'parameter-type') : [];
  if (versions.length === 0) {
    throw new SuitError(
      'parameter-type',
      item.start,
      `${row.name} must be [device, one version comparison or more] ([UM] section 4.5)`,
    );
  }
  const device = asBytes(parts[0]!, row.name, 'parameter-type').value;
  return { device, versions: versions.map(readVersionMatch) };
}
