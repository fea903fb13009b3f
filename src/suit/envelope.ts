import { type ByteSource, view } from '../bytes/index.ts';
import { digestMatches, readDigest } from './digest.ts';
import { SuitError } from './errors.ts';
import { SUIT_LIMITS, type SuitLimits } from './limits.ts';
import { asArray, asBytes, decodeAt } from './read.ts';
import {
  keyNotation,
  keyOrder,
  readShellEntry,
  readShellStart,
  type ShellEntry,
  type Span,
} from './shell.ts';
import { ENVELOPE_KEYS, type Extensions, NO_EXTENSIONS, runsWith } from './tables/index.ts';

const AUTHENTICATION = 2;
const MANIFEST = 3;

/** A byte string of the envelope, copied out of the source. */
export interface EnvelopePart {
  /** With its header: what digests cover ([M] sections 8.3 and 8.4.12). */
  readonly bstr: Uint8Array;
  readonly content: Uint8Array;
  readonly contentStart: number;
  readonly span: Span;
}

/** Where an integrated payload lies; its bytes are never read here. */
export interface IntegratedPayload {
  /** Offset of the first content byte. */
  readonly offset: number;
  /** Content length in bytes. */
  readonly length: number;
  /** The byte string with its header. */
  readonly span: Span;
}

/** The shell of an envelope ([M] sections 8.2 and 8.3). Nothing inside the manifest has been read. */
export interface Envelope {
  readonly source: ByteSource;
  /** Whether the envelope bears its CBOR tag. */
  readonly tag107: boolean;
  readonly digest: {
    readonly algorithm: number;
    readonly bytes: Uint8Array;
    /** The encoded SUIT_Digest array: the detached COSE payload ([M] section 8.3). */
    readonly encoded: Uint8Array;
    readonly span: Span;
  };
  /** Authentication blocks, each a tagged COSE structure, unparsed. */
  readonly blocks: readonly { readonly bytes: Uint8Array; readonly span: Span }[];
  /** The manifest with its byte string header. */
  readonly manifestBstr: Uint8Array;
  readonly manifest: Uint8Array;
  readonly manifestSpan: Span;
  /** Offset of the manifest's content: give it to `readManifest` as `base`. */
  readonly manifestStart: number;
  /** Severed elements by key ([M] section 8.6), not yet compared with the manifest's digests. */
  readonly severed: ReadonlyMap<number, EnvelopePart>;
  /** Integrated payloads by key ([M] section 7.5). */
  readonly integrated: ReadonlyMap<string, IntegratedPayload>;
}

/**
 * Reads the shell of an envelope: bounded, strict, wrapper before manifest, and nothing inside the manifest, which
 * nobody has authenticated yet ([M] section 6.2). Small parts are copied out of the source; integrated payloads are
 * only located, so memory does not grow with them. Throws `SuitError` on everything that is no such envelope, and on
 * elements of extensions that are not given.
 */
export function openEnvelope(
  source: ByteSource,
  limits: SuitLimits = SUIT_LIMITS,
  extensions: Extensions = NO_EXTENSIONS,
): Envelope {
  const start = readShellStart(source, limits.envelopeEntries);
  const located: ShellEntry[] = [];
  const integrated = new Map<string, IntegratedPayload>();
  let at = start.end;
  let previous: ShellEntry | undefined;
  for (let i = 0; i < start.count; i++) {
    const entry = readShellEntry(source, at, limits.payloadKeySize);
    if (entry.key === AUTHENTICATION && located.some(({ key }) => key === MANIFEST)) {
      throw wrapperOrder(entry);
    }
    requireOrder(previous, entry);
    if (typeof entry.key === 'string') integrated.set(entry.key, locate(entry));
    else {
      requireKnown(entry.key, entry.keySpan.start, extensions);
      requireSize(entry, entry.key, limits);
      located.push(entry);
    }
    previous = entry;
    at = entry.span.end;
  }
  requireEnd(source, at);
  return assemble(source, start.tag107, copyParts(source, located), integrated, limits);
}

/** Digest rule of [M] section 8.3: the digest covers the manifest's byte string with its header. */
export function manifestDigestMatches(envelope: Envelope): boolean {
  return digestMatches(envelope.digest, envelope.manifestBstr);
}

function assemble(
  source: ByteSource,
  tag107: boolean,
  parts: Map<number, EnvelopePart>,
  integrated: ReadonlyMap<string, IntegratedPayload>,
  limits: SuitLimits,
): Envelope {
  const wrapper = takePart(parts, AUTHENTICATION, source.size);
  const manifest = takePart(parts, MANIFEST, source.size);
  return {
    source,
    tag107,
    ...readWrapper(wrapper, limits),
    manifestBstr: manifest.bstr,
    manifest: manifest.content,
    manifestSpan: manifest.span,
    manifestStart: manifest.contentStart,
    severed: parts,
    integrated,
  };
}

function takePart(parts: Map<number, EnvelopePart>, key: number, size: number): EnvelopePart {
  const part = parts.get(key);
  if (!part) {
    const name = ENVELOPE_KEYS.get(key)!.name;
    throw new SuitError(
      'element-missing',
      size,
      `the envelope has no ${name} (element ${key}, [M] section 8.2)`,
    );
  }
  parts.delete(key);
  return part;
}

/** SUIT_Authentication: a wrapped digest, then wrapped blocks ([M] section 8.3). */
function readWrapper(wrapper: EnvelopePart, limits: SuitLimits): Pick<Envelope, 'digest' | 'blocks'> {
  const list = decodeAt(wrapper.content, wrapper.contentStart);
  const items = asArray(list, 'the authentication wrapper');
  const wrapped = items.map((item) => asBytes(item, 'an entry of the authentication wrapper'));
  const first = wrapped[0];
  if (!first) {
    throw new SuitError(
      'element-missing',
      list.start,
      'the authentication wrapper is empty: no digest, no signature',
    );
  }
  const blocks = wrapped.slice(1);
  if (blocks.length > limits.blocks) {
    const found = `${blocks.length} authentication blocks; at most ${limits.blocks} are taken`;
    throw new SuitError('limit', list.start, found);
  }
  const { algorithm, bytes } = readDigest(decodeAt(first.value, first.contentStart));
  return {
    digest: { algorithm, bytes, encoded: first.value, span: spanOf(first) },
    blocks: blocks.map((block) => ({ bytes: block.value, span: spanOf(block) })),
  };
}

function requireSize(entry: ShellEntry, key: number, limits: SuitLimits): void {
  const size = entry.span.end - entry.contentStart;
  const limit = sizeLimit(key, limits);
  if (size <= limit) return;
  const name = ENVELOPE_KEYS.get(key)!.name;
  throw new SuitError('limit', entry.span.start, `${name} has ${size} bytes; at most ${limit} are taken`);
}

/**
 * The small parts, copied: what is judged is what was read, whatever becomes of the source. Their keys are numbers, so
 * they stand together before all payloads, and one copy does.
 */
function copyParts(source: ByteSource, located: readonly ShellEntry[]): Map<number, EnvelopePart> {
  const parts = new Map<number, EnvelopePart>();
  const [first] = located;
  if (!first) return parts;
  const from = first.span.start;
  const copy = new Uint8Array(source.read(from, located.at(-1)!.span.end - from));
  for (const { key, span, contentStart } of located) {
    const bstr = view(copy, span.start - from, span.end - from);
    const content = view(copy, contentStart - from, span.end - from);
    parts.set(Number(key), { bstr, content, contentStart, span });
  }
  return parts;
}

function sizeLimit(key: number, limits: SuitLimits): number {
  if (key === AUTHENTICATION) return limits.wrapperSize;
  return key === MANIFEST ? limits.manifestSize : limits.severedSize;
}

function requireKnown(key: number, offset: number, extensions: Extensions): void {
  const row = ENVELOPE_KEYS.get(key);
  if (row && runsWith(row, extensions)) return;
  if (row) {
    throw new SuitError(
      'element-unsupported',
      offset,
      `the envelope holds ${row.name} (element ${key}, ${row.source}), which this processor does not run`,
    );
  }
  const why = key <= 1 ? 'is reserved' : 'was never assigned';
  throw new SuitError('element-unknown', offset, `element ${key} of the envelope ${why} ([M] section 11.1)`);
}

function locate(entry: ShellEntry): IntegratedPayload {
  return { offset: entry.contentStart, length: entry.span.end - entry.contentStart, span: entry.span };
}

function requireOrder(previous: ShellEntry | undefined, entry: ShellEntry): void {
  const order = previous ? keyOrder(previous, entry) : -1;
  if (order < 0) return;
  const key = keyNotation(entry.key);
  if (order === 0) {
    throw new SuitError('element-duplicate', entry.keySpan.start, `the envelope holds element ${key} twice`);
  }
  throw new SuitError(
    'element-order',
    entry.keySpan.start,
    `element ${key} stands out of order: keys ascend by their encoded bytes ([M] section 8.1)`,
  );
}

function wrapperOrder(entry: ShellEntry): SuitError {
  return new SuitError(
    'wrapper-order',
    entry.keySpan.start,
    'the authentication wrapper comes after the manifest: it must come before ([M] section 8.3)',
  );
}

function requireEnd(source: ByteSource, at: number): void {
  if (at === source.size) return;
  throw new SuitError(
    'trailing',
    at,
    `${source.size - at} bytes follow the envelope: nothing authenticates them`,
  );
}

function spanOf(item: Span): Span {
  return { start: item.start, end: item.end };
}
