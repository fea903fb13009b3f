import type { CborItem, CborMapping } from '../cbor/index.ts';
import { readCommon } from './common.ts';
import {
  type ComponentIdentifier,
  type Dependency,
  readComponentIdentifier,
  type Target,
} from './components.ts';
import { digestMatches, readComputableDigest, type SuitDigest } from './digest.ts';
import { collect } from './elements.ts';
import type { EnvelopePart } from './envelope.ts';
import { SuitError } from './errors.ts';
import { SUIT_LIMITS, type SuitLimits } from './limits.ts';
import { asBytes, asMap, asText, decodeAt } from './read.ts';
import { readElementSequence, type Sequence, type SequenceContext } from './sequence.ts';
import { type Extensions, MANIFEST_KEYS, NO_EXTENSIONS } from './tables/index.ts';
import { readVersion, type Version } from './version.ts';

/** The sequences a manifest may hold beside the shared one ([M] section 8.4.6, [TD] sections 5.5, 6 and 7). */
export type SectionName =
  | 'dependency-resolution'
  | 'payload-fetch'
  | 'candidate-verification'
  | 'install'
  | 'validate'
  | 'load'
  | 'invoke'
  | 'uninstall';

/**
 * An element that may be severed ([M] sections 8.4.12 and 8.6). `absent`: the manifest holds its digest and the
 * envelope does not hold it. `altered`: what the envelope holds does not match the digest, and was not read.
 */
export type Severable<T> =
  | { readonly state: 'in-place'; readonly value: T }
  | { readonly state: 'attached'; readonly digest: SuitDigest; readonly value: T }
  | { readonly state: 'absent' | 'altered'; readonly digest: SuitDigest };

/** An element kept as bytes. `start` is the offset of its first byte. */
export interface Opaque {
  readonly content: Uint8Array;
  readonly start: number;
}

/** A manifest whose every command and parameter is known and run here ([M] section 8.4). */
export interface Manifest {
  readonly version: 1;
  readonly sequenceNumber: bigint;
  readonly components: readonly ComponentIdentifier[];
  /** Which component indices stand for the envelopes of other manifests ([TD] section 5.2.2). */
  readonly dependencies: ReadonlyMap<number, Dependency>;
  /** What each index stands for: `components`, then dependencies that are not among them. */
  readonly targets: readonly Target[];
  /** Where a root manifest is to be stored ([TD] section 5.2.1). */
  readonly componentId: ComponentIdentifier | undefined;
  readonly shared: Sequence | undefined;
  readonly sequences: ReadonlyMap<SectionName, Severable<Sequence>>;
  /** For people; `readText` reads it. A processor never interprets it. */
  readonly text: Severable<Opaque> | undefined;
  readonly coswid: Severable<Opaque> | undefined;
  readonly referenceUri: string | undefined;
  readonly setVersion: Version | undefined;
}

export interface ManifestOptions {
  /** Offset of the content in what errors and spans should count from: `envelope.manifestStart`. Default 0. */
  readonly base?: number;
  /** The envelope's severed elements; each is compared with its digest before a byte of it is read. */
  readonly severed?: ReadonlyMap<number, EnvelopePart>;
  readonly limits?: SuitLimits;
  /** What the processor supports beyond the base; the rest is refused by name. Default: nothing. */
  readonly extensions?: Extensions;
}

/**
 * Reads an authenticated manifest as a whole, before anything of it runs: version, structure, and every sequence
 * to its last nested command ([M] sections 6.1, 6.2, 8.4 and Appendix A). Throws `SuitError`.
 */
export function readManifest(content: Uint8Array, options: ManifestOptions = {}): Manifest {
  const map = asMap(decodeAt(content, options.base ?? 0), 'a manifest');
  const extensions = options.extensions ?? NO_EXTENSIONS;
  const elements = collect(map, MANIFEST_KEYS, 'the manifest', extensions);
  requireVersion(elements, map);
  const limits = options.limits ?? SUIT_LIMITS;
  const common = readCommon(take(elements, 3, map), limits, extensions);
  const reading: Reading = { elements, severed: options.severed ?? new Map(), context: common.context };
  const manifest: Manifest = {
    version: 1,
    sequenceNumber: readSequenceNumber(take(elements, 2, map)),
    components: common.components,
    dependencies: common.dependencies,
    targets: common.targets,
    componentId: optional(elements, 5, (item) => readComponentIdentifier(item, limits)),
    shared: common.shared,
    sequences: readSequences(reading),
    text: readSeverable(reading, 23, opaque),
    coswid: readSeverable(reading, 14, opaque),
    referenceUri: optional(elements, 4, (item) => asText(item, 'the reference URI')),
    setVersion: optional(elements, 6, (item) => {
      const wrapped = asBytes(item, 'set-version');
      return readVersion(decodeAt(wrapped.value, wrapped.contentStart));
    }),
  };
  requireDigests(reading);
  return manifest;
}

interface Reading {
  readonly elements: ReadonlyMap<number, CborItem>;
  readonly severed: ReadonlyMap<number, EnvelopePart>;
  readonly context: SequenceContext;
}

function take(elements: ReadonlyMap<number, CborItem>, key: number, map: CborMapping): CborItem {
  const item = elements.get(key);
  if (item) return item;
  const name = MANIFEST_KEYS.get(key)!.name;
  throw new SuitError(
    'element-missing',
    map.start,
    `the manifest has no ${name} (element ${key}, [M] section 8.4)`,
  );
}

function optional<T>(
  elements: ReadonlyMap<number, CborItem>,
  key: number,
  read: (item: CborItem) => T,
): T | undefined {
  const item = elements.get(key);
  return item && read(item);
}

/** [M] section 6.1: fail on an encoding version that is not known, before anything else. */
function requireVersion(elements: ReadonlyMap<number, CborItem>, map: CborMapping): void {
  const item = take(elements, 1, map);
  if (item.type === 'uint' && item.value === 1) return;
  throw new SuitError(
    'manifest-version',
    item.start,
    'the manifest is of a version other than 1 ([M] section 8.4.1)',
  );
}

function readSequenceNumber(item: CborItem): bigint {
  if (item.type === 'uint') return BigInt(item.value);
  throw new SuitError(
    'element-type',
    item.start,
    'the sequence number must be an unsigned integer ([M] 8.4.2)',
  );
}

const SEQUENCE_ROWS = [...MANIFEST_KEYS.values()].filter(({ type }) => type === 'sequence');

function readSequences(reading: Reading): ReadonlyMap<SectionName, Severable<Sequence>> {
  const sequences = new Map<SectionName, Severable<Sequence>>();
  for (const row of SEQUENCE_ROWS) {
    if (!reading.elements.has(row.code)) continue;
    const section = readSeverable(reading, row.code, (content, start) =>
      readElementSequence(content, start, reading.context),
    );
    if (section) sequences.set(row.name as SectionName, section);
  }
  return sequences;
}

const opaque = (content: Uint8Array, start: number): Opaque => ({ content, start });

/** A byte string is in place, an array is the digest of what was severed ([M] section 8.4). */
function readSeverable<T>(
  reading: Reading,
  key: number,
  read: (content: Uint8Array, start: number) => T,
): Severable<T> | undefined {
  const item = reading.elements.get(key);
  const row = MANIFEST_KEYS.get(key)!;
  if (!item) return undefined;
  if (item.type !== 'array' || !row.severable) {
    const { value, contentStart } = asBytes(item, row.name);
    return { state: 'in-place', value: read(value, contentStart) };
  }
  const digest = readComputableDigest(item);
  const part = reading.severed.get(key);
  if (!part) return { state: 'absent', digest };
  if (!digestMatches(digest, part.bstr)) return { state: 'altered', digest };
  return { state: 'attached', digest, value: read(part.content, part.contentStart) };
}

/** Nothing may ride in the envelope that the manifest does not vouch for ([M] section 5.4). */
function requireDigests(reading: Reading): void {
  for (const [key, part] of reading.severed) {
    if (reading.elements.get(key)?.type === 'array') continue;
    const row = MANIFEST_KEYS.get(key)!;
    throw new SuitError(
      'severed-unexpected',
      part.span.start,
      `the envelope holds ${row.name} (element ${key}), for which the manifest has no digest: nothing authenticates it`,
    );
  }
}
