/**
 * A stretch of a file and what it is. Children lie inside it without gap or overlap and fill it; a region without
 * children is a leaf. Texts may come from a stranger's file: whoever shows them must escape control characters.
 */
export interface Region {
  /** Offset of the first byte in the file. */
  readonly offset: number;
  /** Bytes. */
  readonly length: number;
  /** Where it belongs, segments joined by `/`. */
  readonly path: string;
  /** What it is, in plain words. */
  readonly title: string;
  /** Document and section that define it. */
  readonly clause: string;
  /** The decoded value, where there is one. */
  readonly value?: string;
  /** The item in diagnostic notation (RFC 8949 section 8). */
  readonly diagnostic?: string;
  /** Why the bytes could not be understood, or only in part. */
  readonly problem?: string;
  readonly children?: readonly Region[];
}

/** The clause of everything that is CBOR and nothing more. */
export const CBOR_CLAUSE = 'RFC 8949 3';

/** Title of bytes that nothing explains. */
export const NOT_UNDERSTOOD = 'not understood';

/** The regions that stand for `region` when it is absorbed into its parent: its children, or itself. */
export function partsOf(region: Region): readonly Region[] {
  return region.children ?? [region];
}

/** Bytes that could not be understood; none where the stretch is empty. */
export function notUnderstood(start: number, end: number, path: string, problem: string): Region[] {
  if (end <= start) return [];
  const title = NOT_UNDERSTOOD;
  return [{ offset: start, length: end - start, path: `${path}/rest`, title, clause: '', problem }];
}

/** `1 byte`, `2 bytes`. */
export function counted(count: number | bigint, noun: string): string {
  return `${count} ${noun}${count === 1 ? '' : 's'}`;
}

/** A region of something that begins at `by` in the file. */
export function shifted(region: Region, by: number): Region {
  const { children } = region;
  return {
    ...region,
    offset: region.offset + by,
    ...(children && { children: children.map((child) => shifted(child, by)) }),
  };
}
