import { CborError, type CborItem, decode } from '../cbor/index.ts';
import { ReportError } from './error.ts';
import { REPORT_LIMITS } from './limits.ts';

/** One item, nothing behind it. The draft asks for no order of keys, so none is demanded. Throws `ReportError`. */
export function decodeReportCbor(bytes: Uint8Array): CborItem {
  if (bytes.length > REPORT_LIMITS.messageSize) {
    const found = `${bytes.length} bytes; at most ${REPORT_LIMITS.messageSize} are read`;
    throw new ReportError('limit', REPORT_LIMITS.messageSize, found);
  }
  try {
    return decode(bytes, { sortedKeys: false, maxItems: REPORT_LIMITS.items });
  } catch (error) {
    if (!(error instanceof CborError)) throw error;
    const limit = error.code === 'too-deep' || error.code === 'too-many-items';
    throw new ReportError(limit ? 'limit' : 'not-cbor', error.offset, error.message, { cause: error });
  }
}

/** The elements of a map by integer key; `known` says which there are. Throws `ReportError`. */
export function elementsOf(
  item: CborItem,
  what: string,
  known: (key: number) => boolean,
): ReadonlyMap<number, CborItem> {
  if (item.type !== 'map') throw wrong(item, what, 'a map');
  const found = new Map<number, CborItem>();
  for (const { key, value } of item.entries) {
    if (key.type !== 'uint' || !known(Number(key.value))) {
      throw new ReportError('element-unknown', key.start, `${what} holds an element that nobody registered`);
    }
    found.set(Number(key.value), value);
  }
  return found;
}

/** An element that must be there. */
export function required(elements: ReadonlyMap<number, CborItem>, key: number, item: CborItem, what: string) {
  const value = elements.get(key);
  if (value) return value;
  throw new ReportError('element-missing', item.start, `${what} (element ${key}) is missing`);
}

export function listOf(item: CborItem, what: string, most: number, least = 0): readonly CborItem[] {
  if (item.type !== 'array') throw wrong(item, what, 'an array');
  if (item.items.length > most) {
    throw new ReportError(
      'limit',
      item.start,
      `${what} has ${item.items.length} entries; at most ${most} are read`,
    );
  }
  if (item.items.length < least) throw wrong(item, what, `an array of ${least} at least`);
  return item.items;
}

/** Exactly `count` items. */
export function tupleOf(item: CborItem, what: string, count: number): readonly CborItem[] {
  if (item.type === 'array' && item.items.length === count) return item.items;
  throw wrong(item, what, `an array of ${count}`);
}

export function bytesOf(item: CborItem, what: string): Uint8Array {
  if (item.type === 'bytes') return item.value;
  throw wrong(item, what, 'a byte string');
}

export function textOf(item: CborItem, what: string): string {
  if (item.type === 'text') return item.value;
  throw wrong(item, what, 'a text string');
}

export function uintOf(item: CborItem, what: string): number {
  if (item.type === 'uint' && typeof item.value === 'number') return item.value;
  throw wrong(item, what, 'an unsigned integer below 2^53');
}

export function integerOf(item: CborItem, what: string): number {
  if ((item.type === 'uint' || item.type === 'nint') && typeof item.value === 'number') return item.value;
  throw wrong(item, what, 'an integer');
}

export function wrong(item: CborItem, what: string, wanted: string): ReportError {
  return new ReportError(
    'structure',
    item.start,
    `${what} must be ${wanted}; found another thing (${item.type})`,
  );
}
