import type { ByteSource } from '../../bytes/index.ts';
import { SuitError } from '../errors.ts';
import { SUIT_LIMITS } from '../limits.ts';
import { readShellEntry, readShellStart, type ShellEntry, type ShellStart } from '../shell.ts';

/** An envelope's shell as far as it can be read, nothing of it judged. */
export interface Outline {
  /** Undefined where the file does not begin as an envelope does. */
  readonly start: ShellStart | undefined;
  readonly entries: readonly ShellEntry[];
  /** Offset of the first byte that belongs to no element. */
  readonly end: number;
  /** Why the bytes from `end` on could not be understood, where there are any. */
  readonly problem: string;
}

/** Elements beyond this many are left as "not understood": only a hostile file has them. */
const MOST_ELEMENTS = 1024;
const TRAILING = 'bytes after the envelope: nothing authenticates them';

/** Reads tag, map head and elements one after another until they end or cannot be read. */
export function outlineOf(source: ByteSource): Outline {
  const entries: ShellEntry[] = [];
  let start: ShellStart | undefined;
  let end = 0;
  try {
    start = readShellStart(source, Number.MAX_SAFE_INTEGER);
    end = start.end;
    while (entries.length < start.count) {
      if (entries.length >= MOST_ELEMENTS) throw new SuitError('limit', end, 'too many elements to show');
      const entry = readShellEntry(source, end, SUIT_LIMITS.payloadKeySize);
      entries.push(entry);
      end = entry.span.end;
    }
    return { start, entries, end, problem: TRAILING };
  } catch (error) {
    if (error instanceof SuitError) return { start, entries, end, problem: error.message };
    throw error;
  }
}

/** Whether an element is read for display; larger ones and integrated payloads are only located. */
export function isRead(entry: ShellEntry): entry is ShellEntry & { readonly key: number } {
  return typeof entry.key === 'number' && entry.span.end - entry.contentStart <= SUIT_LIMITS.severedSize;
}
