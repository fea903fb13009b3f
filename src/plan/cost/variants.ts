import type { ByteSource } from '../../bytes/index.ts';
import { MAX_RECIPIENTS } from '../../cose/index.ts';
import { DeltaError, makeDelta } from '../../delta/index.ts';
import { weightOf } from '../../release/index.ts';
import {
  describeRelease,
  integratedUris,
  type WrittenManifest,
  writeEnvelopeHead,
  writeManifest,
} from '../../suit/index.ts';
import type { DeviceClass } from '../../workspace/index.ts';
import type { DeltaFigures } from '../figures/book.ts';
import type { PayloadFacts } from './payload.ts';

export const VARIANT_NAMES = ['full', 'full, encrypted', 'delta', 'delta, encrypted'] as const;
export type VariantName = (typeof VARIANT_NAMES)[number];

/** One way to send a release. Sizes in bytes. */
export interface Variant {
  readonly name: VariantName;
  readonly delta: boolean;
  readonly encrypted: boolean;
  /** Manifest, seal, certificates, and whatever else is no image. */
  readonly envelope: number;
  /** Everything that one unit receives. */
  readonly bytes: number;
  /** `sealed`: this is the payload; `made`: it was made to be measured; `computed`; `estimated`: rests on a figure. */
  readonly basis: 'sealed' | 'made' | 'computed' | 'estimated';
  /** Why it cannot be sent so; undefined where it can. */
  readonly hindrance: string | undefined;
}

export interface VariantRequest {
  readonly deviceClass: DeviceClass;
  readonly payload: PayloadFacts;
  /** Recipients of a content key, where images are encrypted. */
  readonly recipients: number;
  /** Deltas against the running release, one for each image, where they could be made. */
  readonly deltas: readonly number[] | undefined;
  readonly figures: DeltaFigures;
}

/** Full and delta, in clear and encrypted, of one release. */
export function variantsOf(request: VariantRequest): Variant[] {
  const { payload, deviceClass, recipients } = request;
  const sealedFor = payload.recipients;
  const { images } = payload;
  const sealed =
    sealedFor === undefined
      ? { envelope: 0, manifest: 0 }
      : encryptionAdds(deviceClass, images, sealedFor, (added) => payload.manifest - added);
  const clear = payload.envelope - sealed.envelope;
  const clearManifest = payload.manifest - sealed.manifest;
  const adds = encryptionAdds(deviceClass, images, recipients, () => clearManifest).envelope;
  const tag = deviceClass.profile.content.tagLength;
  const delta = deltaOf(request);
  const hindrance =
    recipients > MAX_RECIPIENTS
      ? `${recipients} recipients; a payload carries at most ${MAX_RECIPIENTS}: send to cohorts instead`
      : undefined;
  const row = (name: VariantName, envelope: number, images: number, basis: Variant['basis']): Variant => {
    const encrypted = name.endsWith('encrypted');
    return {
      name,
      delta: name.startsWith('delta'),
      encrypted,
      envelope,
      bytes: envelope + images,
      basis,
      hindrance: encrypted ? hindrance : undefined,
    };
  };
  const full = sentOf(payload, payload.images);
  const asSealed = sealedFor === undefined && payload.delta === undefined;
  return [
    row('full', clear, full.bytes, asSealed ? 'sealed' : 'computed'),
    row(
      'full, encrypted',
      clear + adds,
      full.bytes + full.count * tag,
      sealedFor === recipients ? 'sealed' : 'computed',
    ),
    row('delta', clear + delta.manifest, delta.bytes, delta.basis),
    row(
      'delta, encrypted',
      clear + delta.manifest + adds,
      delta.bytes + delta.count * tag,
      delta.basis === 'sealed' ? 'computed' : delta.basis,
    ),
  ];
}

/** The deltas of a payload: those inside, or made against the running release, or taken for a share of the image. */
function deltaOf({ payload, deltas, figures }: VariantRequest) {
  const { delta: inside, images } = payload;
  if (inside !== undefined)
    return { bytes: inside, count: images.length, manifest: 0, basis: 'sealed' as const };
  const sizes = deltas ?? images.map((size) => Math.ceil(size * figures.delta_share.value));
  const basis = deltas ? ('made' as const) : ('estimated' as const);
  return { ...sentOf(payload, sizes), manifest: figures.delta_manifest.value, basis };
}

/** Images inside the envelope reach every unit; of those beside it a unit fetches its own. */
function sentOf({ integrated }: PayloadFacts, sizes: readonly number[]): { bytes: number; count: number } {
  if (integrated) return { bytes: sizes.reduce((sum, size) => sum + size, 0), count: sizes.length };
  return { bytes: Math.max(0, ...sizes), count: Math.min(1, sizes.length) };
}

/** What a kind of sending adds to an envelope. Bytes. */
interface Addition {
  readonly envelope: number;
  readonly manifest: number;
}

/**
 * What encryption adds, to the byte, as sealing writes it for that many recipients, to an envelope whose manifest has
 * `manifest` bytes in clear.
 */
function encryptionAdds(
  deviceClass: DeviceClass,
  images: readonly number[],
  recipients: number,
  manifest: (added: number) => number,
): Addition {
  const carried = Math.min(recipients, MAX_RECIPIENTS);
  const { bytesInAll, bytesEach } = weightOf(deviceClass, carried);
  const plain = describedBy(deviceClass, images, undefined);
  const secret = describedBy(deviceClass, images, bytesInAll);
  const added = secret.manifest.length - plain.manifest.length;
  const clear = manifest(added);
  const envelope =
    headSize({ ...secret, manifest: new Uint8Array(clear + added) }) -
    headSize({ ...plain, manifest: new Uint8Array(clear) });
  return { envelope: envelope + (recipients - carried) * bytesEach, manifest: added };
}

function describedBy(
  { memory: { shape }, profile }: DeviceClass,
  sizes: readonly number[],
  info: number | undefined,
): WrittenManifest {
  const digest = new Uint8Array(32);
  const images = integratedUris(shape).map((uri, i) => {
    const sizeBytes = sizes[i] ?? sizes[0] ?? 0;
    const ciphertext = { digest, sizeBytes: sizeBytes + profile.content.tagLength };
    return {
      digest,
      sizeBytes,
      uri,
      encryption: info === undefined ? undefined : { info: new Uint8Array(info), ...ciphertext },
    };
  });
  const id = new Uint8Array(16);
  return writeManifest(
    describeRelease({ shape, sequenceNumber: 1, vendorId: id, classId: id, images, start: true }),
  );
}

function headSize({ manifest, severed }: Pick<WrittenManifest, 'manifest' | 'severed'>): number {
  return writeEnvelopeHead({ digest: new Uint8Array(), blocks: [], manifest, severed, integrated: [] })[0]!
    .length;
}

/**
 * Sizes of the deltas from the images of one release to those of the next, slot by slot. Undefined where they cannot be
 * compared, or are too large to be made.
 */
export function measureDeltas(
  precursors: readonly ByteSource[],
  targets: readonly ByteSource[],
): number[] | undefined {
  if (targets.length === 0 || precursors.length !== targets.length) return undefined;
  try {
    return targets.map((target, i) => sizeOfDelta(precursors[i]!, target));
  } catch (error) {
    if (error instanceof DeltaError) return undefined;
    throw error;
  }
}

function sizeOfDelta(precursor: ByteSource, target: ByteSource): number {
  let size = 0;
  for (const piece of makeDelta({ precursor, target })) size += piece.length;
  return size;
}
