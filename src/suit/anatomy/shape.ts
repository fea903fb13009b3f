import type { CborItem } from '../../cbor/index.ts';

/** What an item is expected to be. An item of another type is described as plain CBOR. */
export interface Shape {
  readonly title: string;
  readonly clause: string;
  /** The value in words; without it, or where it gives nothing, the value as it stands. */
  readonly say?: (item: CborItem) => string | undefined;
  /** Shape of the one item that a byte string wraps. */
  readonly wraps?: Shape;
  /** Whether the byte string may wrap nothing: protected headers without parameters (RFC 9052 section 3). */
  readonly mayBeEmpty?: boolean;
  /** What an entry of a map is, by its key. */
  readonly entry?: (key: CborItem) => Part;
  /** What an element of an array is. */
  readonly element?: (index: number) => Part;
  /** For an array that is a flat list of pairs: what a pair is, by its first item. */
  readonly pair?: (code: CborItem) => Part;
  /** What a tag holds. */
  readonly tagged?: (tag: number | bigint) => Shape;
}

/** A part of a structure: the segment it adds to the path, and its shape. */
export interface Part {
  readonly name: string;
  readonly shape: Shape;
}

/** An integer that names itself: a label, a code, an index. */
export function integerOf(item: CborItem): number | undefined {
  return (item.type === 'uint' || item.type === 'nint') && typeof item.value === 'number'
    ? item.value
    : undefined;
}

/** A shape that only names an item. */
export function named(title: string, clause: string, say?: Shape['say']): Shape {
  return say ? { title, clause, say } : { title, clause };
}

/** A part for something the standards do not define. */
export function unknownPart(what: string, key: CborItem): Part {
  const name = key.type === 'text' ? key.value : String(integerOf(key) ?? key.type);
  return { name, shape: named(`${what} ${name}, not defined in the standards known here`, '') };
}
