import { type ByteSource, toHex } from '../../bytes/index.ts';
import { type CborItem, decode } from '../../cbor/index.ts';
import { SUIT_LIMITS } from '../limits.ts';
import { keyNotation, type ShellEntry, type ShellStart } from '../shell.ts';
import { integratedDependency, isRead, outlineOf, type Standing, type WholeOutline } from './outline.ts';
import { CBOR_CLAUSE, counted, notUnderstood, partsOf, type Region, shifted } from './region.ts';
import { scanHeads } from './scan.ts';
import { named, type Shape } from './shape.ts';
import { envelopePart, TAGGED_MANIFEST } from './suit-shapes.ts';
import { Walker } from './walk.ts';

const SHOWN_BYTES = 64;
const ROOT = 'envelope';
const PAYLOAD = named('integrated payload', '[M] 7.5');
const DEPENDENCY = named('integrated dependency: an envelope inside this one', '[TD] 8.1.1');

/**
 * What every byte of a file is ([M] section 8; RFC 8949): regions that follow one another from 0 to the file's end,
 * divided down to heads, keys and values. Works on damaged and foreign files as far as they can be read; the rest
 * is one region "not understood" with the reason. Integrated payloads are located, not read; integrated dependencies
 * are divided like the envelope they are in. Judges nothing: `openEnvelope` and `readManifest` do.
 */
export function mapBytes(source: ByteSource): Region[] {
  const { start, entries, end, problem } = outlineOf(source);
  if (!start) return mapForeign(source, problem);
  const regions = entries.map((entry) =>
    mapEntry(source, entry, ROOT, { depth: 0, siblings: entries.length }),
  );
  const missing = entries.length < start.count && end === source.size ? problem : undefined;
  return [...startRegions(start, ROOT, missing), ...regions, ...mapRest(source, end, problem)];
}

function mapEntry(source: ByteSource, entry: ShellEntry, root: string, standing: Standing): Region {
  if (isRead(entry)) return mapElement(source, entry, root);
  const inner = integratedDependency(source, entry, standing);
  return inner
    ? mapDependency(entry, inner.source, inner.outline, root, standing.depth + 1)
    : mapPayload(source, entry, root);
}

function startRegions(start: ShellStart, root: string, problem?: string): Region[] {
  const map: Region = {
    offset: start.map,
    length: start.end - start.map,
    path: `${root}/head`,
    title: `head: map of ${counted(start.count, 'element')}`,
    clause: '[M] 8.2',
    ...(problem !== undefined && { problem }),
  };
  if (!start.tag107) return [map];
  const tag = { offset: 0, length: start.map, path: `${root}/tag`, title: 'tag of a SUIT envelope' };
  return [{ ...tag, clause: '[M] 11', value: '107' }, map];
}

/** A numbered element, read and divided; its offsets are those of the file. */
function mapElement(source: ByteSource, entry: ShellEntry & { key: number }, root: string): Region {
  const { name, shape } = envelopePart(entry.key);
  const path = `${root}/${name}`;
  const bytes = source.read(entry.span.start, entry.span.end - entry.span.start);
  const value = new Walker().region(decode(bytes, { base: entry.span.start }), shape, path);
  return {
    ...value,
    offset: entry.keySpan.start,
    length: entry.span.end - entry.keySpan.start,
    diagnostic: `${entry.key}: ${value.diagnostic}`,
    children: [keyRegion(entry, path, shape), ...partsOf(value)],
  };
}

function keyRegion(entry: ShellEntry, path: string, shape: Shape): Region {
  return {
    offset: entry.keySpan.start,
    length: entry.keySpan.end - entry.keySpan.start,
    path: `${path}/key`,
    title: `key: ${shape.title}`,
    clause: shape.clause,
    value: String(entry.key),
    diagnostic: keyNotation(entry.key),
  };
}

/** A payload under a text key ([M] section 7.5), or an element too large to read: only located. */
function mapPayload(source: ByteSource, entry: ShellEntry, root: string): Region {
  const path = `${root}/${entry.key}`;
  const length = entry.span.end - entry.contentStart;
  const value = counted(length, 'byte');
  const notation =
    length <= SHOWN_BYTES
      ? `h'${toHex(source.read(entry.contentStart, length))}'`
      : `... / ${value} not shown /`;
  const content: Region = { offset: entry.contentStart, length, path: `${path}/content`, ...PAYLOAD, value };
  return {
    offset: entry.keySpan.start,
    length: entry.span.end - entry.keySpan.start,
    path,
    ...PAYLOAD,
    value,
    diagnostic: `${keyNotation(entry.key)}: ${notation}`,
    children: [keyRegion(entry, path, PAYLOAD), contentHead(entry, path), ...(length > 0 ? [content] : [])],
  };
}

/** An envelope under a text key, divided like the one around it. */
function mapDependency(
  entry: ShellEntry,
  source: ByteSource,
  { start, entries }: WholeOutline,
  root: string,
  depth: number,
): Region {
  const path = `${root}/${entry.key}`;
  const inside = `${path}/envelope`;
  const standing = { depth, siblings: entries.length };
  const elements = entries.map((each) => mapEntry(source, each, inside, standing));
  const notation = `107({${elements.map((each) => each.diagnostic).join(', ')}})`;
  const parts = [...startRegions(start, inside), ...elements];
  return {
    offset: entry.keySpan.start,
    length: entry.span.end - entry.keySpan.start,
    path,
    ...DEPENDENCY,
    value: counted(source.size, 'byte'),
    diagnostic: `${keyNotation(entry.key)}: <<${notation}>>`,
    children: [
      keyRegion(entry, path, DEPENDENCY),
      contentHead(entry, path),
      ...parts.map((part) => shifted(part, entry.contentStart)),
    ],
  };
}

function contentHead(entry: ShellEntry, path: string): Region {
  return {
    offset: entry.span.start,
    length: entry.contentStart - entry.span.start,
    path: `${path}/head`,
    title: `head: byte string of ${counted(entry.span.end - entry.contentStart, 'byte')}`,
    clause: CBOR_CLAUSE,
  };
}

/** What follows the last element that could be read: heads as far as they go, into a cut numbered element too. */
function mapRest(source: ByteSource, at: number, problem: string): Region[] {
  const readable = Math.min(source.size - at, SUIT_LIMITS.severedSize);
  const bytes = source.read(at, readable);
  const numbered = (bytes[0] ?? 0xff) >> 5 === 0;
  const rest = scanHeads(bytes, at, ROOT, problem, numbered);
  return [...rest, ...notUnderstood(at + readable, source.size, ROOT, problem)];
}

/** Something else than an envelope: a manifest alone, other CBOR, or no CBOR at all. */
function mapForeign(source: ByteSource, problem: string): Region[] {
  const item = source.size <= SUIT_LIMITS.severedSize ? tryDecode(source) : undefined;
  if (!item) return notUnderstood(0, source.size, ROOT, problem);
  const isManifest = item.type === 'tag' && item.tag === 1070;
  const shape = isManifest ? TAGGED_MANIFEST : named('CBOR, but no SUIT envelope', CBOR_CLAUSE);
  return [{ ...new Walker().region(item, shape, isManifest ? 'manifest' : 'item'), problem }];
}

function tryDecode(source: ByteSource): CborItem | undefined {
  try {
    return decode(source.read(0, source.size), { sortedKeys: false, maxItems: SUIT_LIMITS.items });
  } catch {
    return undefined;
  }
}
