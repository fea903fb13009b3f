import { type ByteSource, concat, equal, sourceOf, toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { DELTA_LIMITS, DeltaError, deltaSource, makeDelta, surveyDelta } from '../delta/index.ts';
import { deltaUris, type ImageDelta } from '../suit/index.ts';
import type { DeviceClass, JsonObject } from '../workspace/index.ts';
import type { DeliveredImage } from './delivered.ts';
import { SealError } from './error.ts';
import { hashOf, type PreparedImage, sourcePieces } from './images.ts';
import { type OpenPrecursor, openPrecursors } from './precursor.ts';
import { encryptsImages } from './recipients.ts';
import type { SealRequest } from './request.ts';

/** A delta that goes into the envelope, and what it was made against. */
export interface MadeDelta extends ImageDelta {
  readonly bytes: Uint8Array;
  readonly from: OpenPrecursor;
}

/** A delta lies in the envelope, and the whole image beside it. */
export function withWholeImageBeside<R extends Pick<SealRequest, 'deltaFrom' | 'detached'>>(request: R): R {
  return request.deltaFrom ? { ...request, detached: true } : request;
}

/** Refuses a class whose units could not take a delta, before any file is read. Throws `SealError`. */
export function requireDeltas(
  {
    deltaFrom,
    components = [],
    dependencies = [],
  }: Pick<SealRequest, 'deltaFrom' | 'components' | 'dependencies'>,
  deviceClass: DeviceClass,
): void {
  if (!deltaFrom) return;
  if (components.length + dependencies.length > 0) {
    throw new SealError(
      'delta-with-parts',
      'a delta is for the image that runs alone, and this release brings more than that',
      'seal without --delta-from, or the other parts as a release of their own',
    );
  }
  const { name, memory } = deviceClass;
  if (memory.delta_window === undefined) {
    throw new SealError(
      'delta-unsupported',
      `units of class ${name} set no memory aside for deltas`,
      `set memory.delta_window in classes/${name}.yaml to RAM that its units really have; units provisioned before refuse deltas by name`,
    );
  }
  if (!encryptsImages(deviceClass)) return;
  throw new SealError(
    'delta-encrypted',
    `class ${name} encrypts its images: beside one, a delta in clear would tell what changed, and units do not decrypt a delta`,
    'seal without --delta-from; a message that is encrypted when sent may hold a delta (confidentiality: message)',
  );
}

/**
 * The images with a delta each: from what units run to what they shall run. For linked slots from the image of the other
 * slot, which runs while the first is filled. `close` lets the files of the precursors go. Throws `SealError`,
 * `ImageError`, `WorkspaceError`.
 */
export function withDeltas<I extends PreparedImage>(
  request: Pick<SealRequest, 'workspace' | 'deltaFrom' | 'images'>,
  deviceClass: DeviceClass,
  images: readonly I[],
): { readonly images: readonly (I & { readonly delta?: MadeDelta })[]; close(): void } {
  if (!request.deltaFrom) return { images, close() {} };
  const { all, close } = openPrecursors(request, deviceClass);
  try {
    const uris = deltaUris(deviceClass.memory.shape);
    const window = deviceClass.memory.delta_window!;
    const made = images.map((image, i) => {
      const from = all[all.length - 1 - i]!;
      return { ...image, delta: deltaTo(image, from, uris[i]!, window) };
    });
    return { images: made, close };
  } catch (error) {
    close();
    throw error;
  }
}

function deltaTo(image: PreparedImage, from: OpenPrecursor, uri: string, windowSize: number): MadeDelta {
  const target = image.flat.source;
  if (equal(from.digest, image.digest)) {
    throw new SealError(
      'precursor-wrong',
      `${from.file} holds the same image that is to be sealed`,
      'give the release that units run now',
    );
  }
  const bytes = makeBytes(from.source, target, windowSize);
  if (bytes.length >= target.size) {
    throw new SealError(
      'delta-not-smaller',
      `the delta from ${from.file} has ${bytes.length} bytes, and the whole image ${target.size}`,
      'seal without --delta-from: these images have too little in common',
    );
  }
  return {
    uri,
    bytes,
    from,
    digest: sha256(bytes),
    sizeBytes: bytes.length,
    windowBytes: surveyDelta(sourceOf(bytes)).largestWindow,
    precursor: { digest: from.digest, sizeBytes: from.source.size },
  };
}

function makeBytes(precursor: ByteSource, target: ByteSource, windowSize: number): Uint8Array {
  try {
    return concat(...makeDelta({ precursor, target, windowSize }));
  } catch (error) {
    if (!(error instanceof DeltaError)) throw error;
    throw new SealError(
      'delta-not-made',
      `no delta was made: ${error.says}`,
      `seal without --delta-from; deltas are made from images of up to ${DELTA_LIMITS.precursor.value} bytes`,
    );
  }
}

/** Whether a delta as it was written makes the image, as a unit applies it. */
export function makesImage(written: ByteSource, { delta, digest, flat }: DeliveredImage): boolean {
  try {
    const made = deltaSource({
      delta: written,
      precursor: delta!.from.source,
      targetSize: flat.size,
      limits: { targetWindow: delta!.windowBytes },
    });
    return equal(hashOf(sourcePieces(made)), digest);
  } catch (error) {
    if (error instanceof DeltaError) return false;
    throw error;
  }
}

/** A delta as records and results show it. */
export function deltaJson({ delta, flat }: DeliveredImage): JsonObject | null {
  if (!delta) return null;
  const { from, precursor } = delta;
  return {
    format: 'vcdiff',
    uri: delta.uri,
    digest: toHex(delta.digest),
    size_bytes: delta.sizeBytes,
    window_bytes: delta.windowBytes,
    saved_bytes: flat.size - delta.sizeBytes,
    precursor: {
      digest: toHex(precursor.digest),
      size_bytes: precursor.sizeBytes,
      file: from.file,
      sequence_number: from.release?.sequenceNumber ?? null,
      version: from.release?.version ?? null,
    },
  };
}
