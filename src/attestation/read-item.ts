import { CborError, type CborItem, type DecodeOptions, decode } from '../cbor/index.ts';
import { AttestationError } from './error.ts';
import { ATTESTATION_LIMITS } from './limits.ts';

/** One item of at most `most` bytes, nothing behind it. Throws `AttestationError`. */
export function decodeBounded(bytes: Uint8Array, most: number, options: DecodeOptions = {}): CborItem {
  if (bytes.length > most) {
    throw new AttestationError('limit', most, `${bytes.length} bytes; at most ${most} are read`);
  }
  try {
    return decode(bytes, { maxItems: ATTESTATION_LIMITS.items, ...options });
  } catch (error) {
    if (!(error instanceof CborError)) throw error;
    const limit = error.code === 'too-deep' || error.code === 'too-many-items';
    throw new AttestationError(limit ? 'limit' : 'not-cbor', error.offset, error.message, { cause: error });
  }
}

/** The elements of a map by integer key (RFC 9711 section 4: CBOR tokens use integers only). */
export function elementsOf(item: CborItem, what: string): Map<number | bigint, CborItem> {
  if (item.type !== 'map') throw wrong(item, what, 'a map');
  const found = new Map<number | bigint, CborItem>();
  for (const { key, value } of item.entries) {
    if (key.type !== 'uint' && key.type !== 'nint') throw wrong(key, `a key of ${what}`, 'an integer');
    found.set(key.value, value);
  }
  return found;
}

/** An element that must be there. */
export function required(
  elements: ReadonlyMap<number | bigint, CborItem>,
  key: number,
  item: CborItem,
  what: string,
): CborItem {
  const value = elements.get(key);
  if (value) return value;
  throw new AttestationError('element-missing', item.start, `${what} (${key}) is missing`);
}

/** An array with a number of entries in bounds. */
export function listOf(item: CborItem, what: string, least: number, most: number): readonly CborItem[] {
  if (item.type !== 'array') throw wrong(item, what, 'an array');
  const { length } = item.items;
  if (length > most && least !== most) {
    throw new AttestationError(
      'limit',
      item.start,
      `${what} has ${length} entries; at most ${most} are read`,
    );
  }
  if (length < least || length > most) throw wrong(item, what, `an array of ${least} to ${most}`);
  return item.items;
}

export function bytesOf(item: CborItem, what: string, least: number, most = least): Uint8Array {
  const range = least === most ? `${least}` : `${least} to ${most}`;
  if (item.type === 'bytes' && item.value.length >= least && item.value.length <= most) return item.value;
  throw wrong(item, what, `a byte string of ${range} bytes`);
}

export function textOf(item: CborItem, what: string): string {
  const most = ATTESTATION_LIMITS.textSize;
  if (item.type === 'text' && item.value.length <= most) return item.value;
  throw wrong(item, what, `a text of at most ${most} characters`);
}

export function countOf(item: CborItem, what: string, most = Number.MAX_SAFE_INTEGER): number {
  if (item.type === 'uint' && typeof item.value === 'number' && item.value <= most) return item.value;
  throw wrong(item, what, `a whole number from 0 to ${most}`);
}

/** A number that may exceed 2^53. */
export function bigOf(item: CborItem, what: string): bigint {
  if (item.type === 'uint') return BigInt(item.value);
  throw wrong(item, what, 'a whole number');
}

export function wrong(item: CborItem, what: string, wanted: string): AttestationError {
  return new AttestationError('structure', item.start, `${what} must be ${wanted}; found another thing`);
}
