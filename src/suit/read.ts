import { CborError, type CborErrorCode, type CborItem, type CborMapping, decode } from '../cbor/index.ts';
import { SuitError, type SuitErrorCode } from './errors.ts';
import { SUIT_LIMITS } from './limits.ts';

/** Refusals of the CBOR reader that have a code of their own here; the rest are 'cbor'. */
const CODES: ReadonlyMap<CborErrorCode, SuitErrorCode> = new Map([
  ['truncated', 'truncated'],
  ['duplicate-key', 'element-duplicate'],
  ['unsorted-keys', 'element-order'],
  ['too-deep', 'limit'],
  ['too-many-items', 'limit'],
]);

/** A CBOR refusal in this room's words; `shift` is added to its offset. */
export function fromCbor(error: unknown, shift = 0): unknown {
  if (!(error instanceof CborError)) return error;
  return new SuitError(CODES.get(error.code) ?? 'cbor', error.offset + shift, error.message, {
    cause: error,
  });
}

/** One strict item; spans and offsets count from `base`. Throws `SuitError`. */
export function decodeAt(bytes: Uint8Array, base: number): CborItem {
  try {
    return decode(bytes, { base, maxItems: SUIT_LIMITS.items });
  } catch (error) {
    throw fromCbor(error);
  }
}

/** The map that `item` must be, or a `SuitError` with the code given. */
export function asMap(item: CborItem, what: string, code: SuitErrorCode = 'element-type'): CborMapping {
  if (item.type === 'map') return item;
  throw wrongType(item, what, 'a map', code);
}

export function asArray(
  item: CborItem,
  what: string,
  code: SuitErrorCode = 'element-type',
): readonly CborItem[] {
  if (item.type === 'array') return item.items;
  throw wrongType(item, what, 'an array', code);
}

export function asBytes(item: CborItem, what: string, code: SuitErrorCode = 'element-type') {
  if (item.type === 'bytes') return item;
  throw wrongType(item, what, 'a byte string', code);
}

export function asText(item: CborItem, what: string, code: SuitErrorCode = 'element-type'): string {
  if (item.type === 'text') return item.value;
  throw wrongType(item, what, 'a text string', code);
}

/** An unsigned integer that fits a number. */
export function asUint(item: CborItem, what: string, code: SuitErrorCode = 'element-type'): number {
  if (item.type === 'uint' && typeof item.value === 'number') return item.value;
  throw wrongType(item, what, 'an unsigned integer below 2^53', code);
}

/** An integer of either sign that fits a number. */
export function asInteger(item: CborItem, what: string, code: SuitErrorCode = 'element-type'): number {
  if ((item.type === 'uint' || item.type === 'nint') && typeof item.value === 'number') return item.value;
  throw wrongType(item, what, 'an integer', code);
}

export function asBoolean(item: CborItem, what: string, code: SuitErrorCode = 'element-type'): boolean {
  if (item.type === 'simple' && typeof item.value === 'boolean') return item.value;
  throw wrongType(item, what, 'true or false', code);
}

function wrongType(item: CborItem, what: string, wanted: string, code: SuitErrorCode): SuitError {
  return new SuitError(code, item.start, `${what} must be ${wanted}; found ${nameOf(item)}`);
}

function nameOf(item: CborItem): string {
  switch (item.type) {
    case 'uint':
    case 'nint':
      return `the integer ${item.value}`;
    case 'bytes':
      return `a byte string of ${item.value.length} bytes`;
    case 'text':
      return 'a text string';
    case 'array':
      return `an array of ${item.items.length}`;
    case 'map':
      return `a map of ${item.entries.length}`;
    case 'tag':
      return `tag ${item.tag}`;
    case 'simple':
      return `the simple value ${item.value}`;
    default:
      return `the float ${item.value}`;
  }
}
