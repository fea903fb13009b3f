import { type ByteSource, slice } from '../../bytes/index.ts';
import { SuitError } from '../errors.ts';
import { SUIT_LIMITS } from '../limits.ts';
import { ENVELOPE_TAG, readShellEntry, readShellStart, type ShellEntry, type ShellStart } from '../shell.ts';

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

/** An outline that accounts for a whole envelope. */
export interface WholeOutline extends Outline {
  readonly start: ShellStart;
}

/** Where an element stands: envelopes around its own, and elements of its own envelope. */
export interface Standing {
  readonly depth: number;
  readonly siblings: number;
}

/** Levels of envelopes inside envelopes that are shown. */
const DEEPEST_DEPENDENCY = SUIT_LIMITS.dependencyDepth;

/**
 * The envelope of a dependency that is integrated under a text key ([TD] section 8.1.1): content that is a tagged
 * envelope from its first byte to its last. Anything else is a payload, which is not read; so is everything that more
 * elements surround than a processor takes.
 */
export function integratedDependency(
  source: ByteSource,
  entry: ShellEntry,
  { depth, siblings }: Standing,
): { readonly source: ByteSource; readonly outline: WholeOutline } | undefined {
  const length = entry.span.end - entry.contentStart;
  if (typeof entry.key !== 'string' || depth >= DEEPEST_DEPENDENCY) return undefined;
  if (siblings > SUIT_LIMITS.envelopeEntries) return undefined;
  if (length < 2 || length > SUIT_LIMITS.severedSize) return undefined;
  const content = slice(source, entry.contentStart, length);
  const [tag, number] = content.read(0, 2);
  if (tag !== 0xd8 || number !== ENVELOPE_TAG) return undefined;
  const outline = outlineOf(content);
  const { start } = outline;
  const whole = start && outline.entries.length === start.count && outline.end === length;
  return whole ? { source: content, outline: { ...outline, start } } : undefined;
}
