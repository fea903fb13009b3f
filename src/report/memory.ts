import { type ByteSource, eachPiece, equal, slice } from '../bytes/index.ts';
import { startSha256 } from '../crypto/index.ts';
import {
  ALL_EXTENSIONS,
  type ComponentIdentifier,
  MAIN_COMPONENT,
  type Manifest,
  manifestDigestMatches,
  type Outcome,
  openDependency,
  openEnvelope,
  type Parameters,
  runSequences,
  SHA_256,
  SuitError,
  type TargetComponent,
} from '../suit/index.ts';
import type {
  Fallen,
  Flash,
  FlashSpan,
  SlotCondition,
  Unit,
  UnitRecord,
  VolatileMemory,
} from '../unit/index.ts';
import { parametersOf } from './measured.ts';
import { readManifestOf } from './places.ts';
import type { PropertyClaim } from './report.ts';

/** What a unit remembers of one slot, and what lies in it. */
export interface SlotMemory {
  readonly name: string;
  /** Index in the memory map. */
  readonly index: number;
  readonly state: SlotCondition;
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
  /** From the envelope kept with the image; undefined where it is not the one that the mark names. */
  readonly manifest: Manifest | undefined;
  /** The envelopes that were kept of what it depends on. */
  readonly dependencies: readonly ByteSource[];
  readonly content: ByteSource;
}

/** What a unit can tell of itself at one moment: its marks, and what it kept for start-up. */
export interface UnitMemory {
  readonly record: UnitRecord;
  readonly running: VolatileMemory['running'];
  /** In the order of the memory map; empty where the marks cannot be read. */
  readonly slots: readonly SlotMemory[];
  readonly fallen: readonly Fallen[];
}

/** Reads what a unit remembers. Take it before a start that is to be reported: a start may clear marks. */
export function rememberUnit(
  unit: Unit,
  flash: Pick<Flash, 'read'>,
  running: UnitMemory['running'],
): UnitMemory {
  const marks = unit.marks();
  const { record, layout } = unit;
  const slots = (marks?.slots ?? []).map((mark, index): SlotMemory => {
    const { state, manifestDigest, sequenceNumber, envelopeLength } = mark;
    const area = layout.envelopes[index]!;
    const kept = sourceIn(flash, { offset: area.offset, size: Math.min(envelopeLength, area.size) });
    return {
      name: record.memory.slots[index]!.name,
      index,
      state,
      manifestDigest,
      sequenceNumber,
      ...(state === 'empty' ? NOTHING_KEPT : keptIn(kept, manifestDigest)),
      content: sourceIn(flash, layout.slots[index]!),
    };
  });
  return { record, running, slots, fallen: marks?.fallen ?? [] };
}

function sourceIn(flash: Pick<Flash, 'read'>, { offset, size }: FlashSpan): ByteSource {
  return { size, read: (at, length) => flash.read(offset + at, length) };
}

/** The mark holds the digest of a manifest that was judged, so one that matches it may be read. */
function keptIn(kept: ByteSource, digest: Uint8Array): Pick<SlotMemory, 'manifest' | 'dependencies'> {
  try {
    const envelope = openEnvelope(kept, undefined, ALL_EXTENSIONS);
    if (!equal(envelope.digest.bytes, digest) || !manifestDigestMatches(envelope)) return NOTHING_KEPT;
    const parts = [...envelope.integrated.values()];
    const dependencies = parts.map(({ offset, length }) => slice(kept, offset, length));
    return { manifest: readManifestOf(envelope), dependencies };
  } catch (error) {
    if (error instanceof SuitError) return NOTHING_KEPT;
    throw error;
  }
}

const NOTHING_KEPT = { manifest: undefined, dependencies: [] };

/** Index of the staging area where a memory map has one. */
const STAGING = 1;

/**
 * Measures the image in a slot: slot, size and SHA-256 of what lies there now. Undefined where no manifest says how long it
 * is, and for a staging area: what waits there may be encrypted, and is not yet the component that runs.
 */
export function measureSlot(
  { manifest, index, content, dependencies }: SlotMemory,
  { memory }: UnitRecord,
): PropertyClaim | undefined {
  if (memory.shape === 'staged' && index === STAGING) return undefined;
  const size = manifest && imageSize(manifest, index, dependencies);
  if (size === undefined || size > content.size) return undefined;
  const hash = startSha256();
  eachPiece(slice(content, 0, size), (piece) => hash.update(piece));
  return claimOf(manifest!, { slot: index, size, digest: hash.digest() });
}

/** What was measured of the component that runs. Size in bytes. */
export function claimOf(
  { components }: Pick<Manifest, 'components'>,
  { slot, size, digest }: { readonly slot: number; readonly size: number; readonly digest: Uint8Array },
): PropertyClaim {
  const properties = parametersOf({ 3: { algorithm: SHA_256, bytes: digest }, 5: slot, 14: size });
  return { kind: 'claim', component: components[0]!, properties };
}

const MET: Outcome = { ok: true };
const IMAGE_MATCH = 3;
const SLOT = 5;

/**
 * The size that the validate sequence has set when it compares the image of that slot. Dependencies are taken by their
 * digests: they were judged when they were installed.
 */
function imageSize(
  manifest: Manifest,
  slot: number,
  dependencies: readonly ByteSource[],
): number | undefined {
  let size: number | undefined;
  runSequences(manifest, 'validate', {
    condition(code: number, { identifier }: TargetComponent, parameters: Parameters) {
      if (code === IMAGE_MATCH && isMain(identifier)) size ??= parameters.get(14);
      const elsewhere = code === SLOT && parameters.get(5) !== slot;
      return elsewhere ? { ok: false, reason: 'host', detail: 'another slot' } : MET;
    },
    directive: () => MET,
    dependency(_component, parameters) {
      const digest = parameters.get(3)!;
      const opened = dependencies.map((source) => openDependency(source, digest, ALL_EXTENSIONS, () => MET));
      return opened.find(({ ok }) => ok) ?? { ok: false, reason: 'host', detail: 'not kept' };
    },
  });
  return size;
}

function isMain(identifier: ComponentIdentifier): boolean {
  return identifier.length === 1 && equal(identifier[0]!, MAIN_COMPONENT[0]!);
}
