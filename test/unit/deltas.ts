/** Releases by delta of Hollin Ridge, an invented maker, and units that take them. Test keys. */
import { concat, sourceOf } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { makeDelta, surveyDelta } from '../../src/delta/index.ts';
import { defaultMemoryMap, type MemoryMap, type SlotShape } from '../../src/image/index.ts';
import {
  deltaUris,
  describeRelease,
  type ImageDelta,
  type ManifestDescription,
  writeManifest,
} from '../../src/suit/index.ts';
import { envelopeOf, type Sealing, VENDOR, VENT } from './maker.ts';

/** RAM that the units of these tests set aside. */
export const WINDOW = 4096;

/** A memory map of a unit that takes deltas. */
export function memoryFor(shape: SlotShape, changes: Partial<MemoryMap> = {}): MemoryMap {
  return { ...defaultMemoryMap({ core: 'none', shape }), delta_window: WINDOW, ...changes };
}

export function deltaOf(precursor: Uint8Array, target: Uint8Array, windowSize = WINDOW): Uint8Array {
  return concat(...makeDelta({ precursor: sourceOf(precursor), target: sourceOf(target), windowSize }));
}

export interface DeltaOptions {
  readonly shape?: SlotShape;
  /** In slot order. */
  readonly images: readonly Uint8Array[];
  /** What the delta for each slot is applied to: what runs in the other slot. */
  readonly precursors: readonly Uint8Array[];
  readonly seal: Sealing;
  readonly sequenceNumber?: number;
  /** Another delta than ours, in slot order. */
  readonly deltas?: readonly Uint8Array[];
  /** What becomes of a delta on the way. */
  readonly onTheWay?: (delta: Uint8Array) => Uint8Array;
  /** What the sealer gets wrong. */
  readonly wrongly?: (delta: ImageDelta) => ImageDelta;
  readonly described?: (description: ManifestDescription) => ManifestDescription;
}

/** A release by delta: the deltas inside, the whole images beside. */
export async function deltaRelease(options: DeltaOptions) {
  const { shape = 'remapped', images, precursors, seal, sequenceNumber = 8 } = options;
  const deltas = options.deltas ?? images.map((image, i) => deltaOf(precursors[i]!, image));
  const uris = deltaUris(shape);
  const described = deltas.map((delta, i) => ({
    uri: uris[i]!,
    digest: sha256(delta),
    sizeBytes: delta.length,
    windowBytes: windowOf(delta),
    precursor: { digest: sha256(precursors[i]!), sizeBytes: precursors[i]!.length },
  }));
  const wrongly = options.wrongly ?? ((each) => each);
  const description = describeRelease({
    shape,
    sequenceNumber,
    vendorId: VENDOR,
    classId: VENT,
    start: true,
    images: images.map((image, i) => ({
      digest: sha256(image),
      sizeBytes: image.length,
      uri: `https://depot.hollinridge.example/${i}.bin`,
      delta: wrongly(described[i]!),
    })),
  });
  const { manifest, severed } = writeManifest(options.described?.(description) ?? description);
  const arrives = options.onTheWay ?? ((bytes) => bytes);
  const integrated = deltas.map((delta, i) => ({ key: uris[i]!, bytes: arrives(delta) }));
  return { envelope: await envelopeOf({ manifest, severed, integrated, seal }), images, deltas };
}

/** The window that a sealer announces; of bytes that are no delta, any. */
function windowOf(delta: Uint8Array): number {
  try {
    return surveyDelta(sourceOf(delta)).largestWindow;
  } catch {
    return WINDOW;
  }
}
