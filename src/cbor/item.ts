/** Where an item lies: offsets of its first byte and of the byte after it. */
interface Span {
  readonly start: number;
  readonly end: number;
}

/** Major types 0 and 1: a number while it is a safe integer, a bigint beyond. */
export interface CborInteger extends Span {
  readonly type: 'uint' | 'nint';
  readonly value: number | bigint;
}

/** Major type 2. `value` is a view of the decoded bytes; `contentStart` is the offset of its first byte. */
export interface CborBytes extends Span {
  readonly type: 'bytes';
  readonly value: Uint8Array;
  readonly contentStart: number;
}

/** Major type 3. */
export interface CborText extends Span {
  readonly type: 'text';
  readonly value: string;
  readonly contentStart: number;
}

/** Major type 4. */
export interface CborArray extends Span {
  readonly type: 'array';
  readonly items: readonly CborItem[];
}

/** One pair of a map. */
export interface CborEntry {
  readonly key: CborItem;
  readonly value: CborItem;
}

/** Major type 5, entries in the order of the bytes. */
export interface CborMapping extends Span {
  readonly type: 'map';
  readonly entries: readonly CborEntry[];
}

/** Major type 6. Tags are not interpreted: a bignum stays tag 2 or 3 on bytes. */
export interface CborTagged extends Span {
  readonly type: 'tag';
  readonly tag: number | bigint;
  readonly item: CborItem;
}

/** Major type 7 without floats; an unassigned simple value is its number. */
export interface CborSimple extends Span {
  readonly type: 'simple';
  readonly value: boolean | null | undefined | number;
}

/** A floating-point number. */
export interface CborFloat extends Span {
  readonly type: 'float';
  readonly value: number;
}

/** A decoded data item and where it lies. */
export type CborItem =
  | CborInteger
  | CborBytes
  | CborText
  | CborArray
  | CborMapping
  | CborTagged
  | CborSimple
  | CborFloat;

/** The value under an integer or text key of a decoded map, or `undefined` where there is none. */
export function lookUp(map: CborMapping, key: number | string): CborItem | undefined {
  return map.entries.find((entry) => isKey(entry.key, key))?.value;
}

function isKey(item: CborItem, key: number | string): boolean {
  if (item.type === 'text') return item.value === key;
  return (item.type === 'uint' || item.type === 'nint') && item.value === key;
}
