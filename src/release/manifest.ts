import { compare, toBase64 } from '../bytes/index.ts';
import { encode } from '../cbor/index.ts';
import {
  describeRelease,
  digestOf,
  encodeDigest,
  formatUuid,
  type ImageDelta,
  integratedUris,
  type ManifestDescription,
  type ReleaseFacts,
  type ReleaseText,
  uuidV5,
  type WrittenManifest,
  withComponents,
  withDependencies,
  writeEnvelopeHead,
  writeManifest,
} from '../suit/index.ts';
import { componentIdentifier } from '../unit/index.ts';
import type { DeviceClass } from '../workspace/index.ts';
import type { DeliveredImage } from './delivered.ts';
import { SealError } from './error.ts';
import {
  envelopeIdentifier,
  type NamedComponent,
  type NamedDependency,
  type NamedParts,
  NO_PARTS,
  type OpenedParts,
} from './parts.ts';
import type { SealRequest } from './request.ts';

/** A manifest and what its seal goes over. */
export interface ManifestToSeal extends WrittenManifest {
  /** SHA-256 over the manifest's byte string with header, 32 bytes (SUIT manifest section 8.3). */
  readonly digest: Uint8Array;
  /** The encoded SUIT_Digest: the detached COSE payload. */
  readonly payload: Uint8Array;
}

/** What a manifest says of an image. */
export interface NamedImage extends Pick<DeliveredImage, 'digest' | 'encryption'> {
  readonly delta?: ImageDelta | undefined;
  readonly flat: Pick<DeliveredImage['flat'], 'size'>;
  readonly input: Pick<DeliveredImage['input'], 'uri'>;
  readonly delivered: Pick<DeliveredImage['delivered'], 'digest'>;
}

/** What a manifest is made of beside class, images and number. */
export type ManifestRequest = Pick<
  SealRequest,
  'workspace' | 'version' | 'deviceId' | 'detached' | 'withoutText' | 'description' | 'referenceUri'
> & {
  /** What the release brings beside the image that runs. Default nothing. */
  readonly parts?: NamedParts | undefined;
};

/** The manifest of a release. The same inputs and the same number give the same bytes. */
export function buildManifest(
  request: ManifestRequest,
  deviceClass: DeviceClass,
  images: readonly NamedImage[],
  sequenceNumber: bigint,
): ManifestToSeal {
  const uris = urisOf(request, deviceClass, images);
  const { partOf } = deviceClass;
  const written = writeManifest(
    withParts(request, {
      shape: deviceClass.memory.shape,
      sequenceNumber,
      vendorId: request.workspace.vendorId,
      classId: deviceClass.classId,
      deviceId: request.deviceId,
      images: images.map(({ digest, flat, encryption, delta }, i) => ({
        digest,
        sizeBytes: flat.size,
        uri: uris[i],
        encryption,
        delta,
      })),
      start: partOf?.started ?? true,
      component: partOf && componentIdentifier(partOf.component),
      version: request.version,
      text: request.withoutText ? undefined : textOf(request, deviceClass),
      referenceUri: referenceUriOf(request, deviceClass, sequenceNumber),
    }),
  );
  const digest = digestOf(encode(written.manifest));
  return { ...written, digest: digest.bytes, payload: encodeDigest(digest) };
}

/** The description of a release with what it brings beside the image that runs: components first, then dependencies. */
function withParts(request: ManifestRequest, facts: ReleaseFacts): ManifestDescription {
  const { components, dependencies } = request.parts ?? NO_PARTS;
  const whole = withComponents(
    describeRelease(facts),
    components.map((part) => ({ ...part, uri: partUri(request, part) })),
  );
  if (dependencies.length === 0) return whole;
  return withDependencies(
    whole,
    dependencies.map((part) => ({
      digest: part.digest,
      uri: partUri(request, part),
      identifier: envelopeIdentifier(part),
      sections: part.sections,
    })),
  );
}

/** Where units find a part: in the envelope, or at a place named by the digest of its file. */
export function partUri(
  { detached }: Pick<SealRequest, 'detached'>,
  part: NamedComponent | NamedDependency,
): string {
  const file = 'fileDigest' in part ? part.fileDigest : part.digest;
  return detached ? nameOf(file) : `#${'fileDigest' in part ? part.name : `${part.name}.bin`}`;
}

/**
 * The URI by which reports name the manifest (SUIT manifest section 8.4.3). It cannot be made of the manifest's own digest, so
 * it is made of class and number: a UUIDv5 of the number in decimal digits under the class identifier (RFC 9562 section 5.5).
 */
export function referenceUriOf(
  { referenceUri }: Pick<SealRequest, 'referenceUri'>,
  { classId }: Pick<DeviceClass, 'classId'>,
  sequenceNumber: bigint,
): string {
  return referenceUri ?? `urn:uuid:${formatUuid(uuidV5(classId, String(sequenceNumber)))}`;
}

/** Where units find each image: in the envelope, or at a place named by the image's digest unless one is given. */
export function urisOf(
  request: Pick<SealRequest, 'detached'>,
  deviceClass: DeviceClass,
  images: readonly NamedImage[],
): string[] {
  const integrated = integratedUris(deviceClass.memory.shape);
  return images.map(({ input, delivered }, i) =>
    request.detached ? (input.uri ?? nameOf(delivered.digest)) : integrated[i]!,
  );
}

/** A name made of a digest alone (RFC 6920 section 3). */
function nameOf(digest: Uint8Array): string {
  const value = toBase64(digest).replaceAll('+', '-').replaceAll('/', '_').replaceAll('=', '');
  return `ni:///sha-256;${value}`;
}

function textOf({ workspace, version, description }: ManifestRequest, { model }: DeviceClass): ReleaseText {
  return {
    language: 'en',
    manifestDescription: description,
    modelName: model,
    vendorDomain: workspace.vendorDomain,
    componentVersion: version,
  };
}

/**
 * The envelope up to each image's bytes: one piece per integrated image, or the whole of a detached payload. Throws
 * `SealError` envelope-too-large where units could not keep it beside its image for the check at start-up.
 */
export function buildEnvelope(
  request: SealRequest & OpenedParts,
  deviceClass: DeviceClass,
  images: readonly DeliveredImage[],
  manifest: ManifestToSeal,
  blocks: readonly Uint8Array[],
): Uint8Array[] {
  const parts = { digest: manifest.payload, blocks, manifest: manifest.manifest, severed: manifest.severed };
  const { dependencies } = request.parts ?? NO_PARTS;
  const kept = dependencies.reduce((sum, { keptSize }) => sum + keptSize, 0);
  requireRoom(deviceClass, writeEnvelopeHead({ ...parts, integrated: [] })[0]!.length + kept);
  const integrated = payloadsOf(request, deviceClass, images).map(({ key, size }) => ({ key, length: size }));
  return writeEnvelopeHead({ ...parts, integrated });
}

/** What lies in an envelope behind its manifest. */
export interface IntegratedPayload {
  readonly key: string;
  /** SHA-256, 32 bytes. */
  readonly digest: Uint8Array;
  readonly size: number;
  /** Undefined for what goes with the image that runs. */
  readonly image?: DeliveredImage | undefined;
  pieces(): Iterable<Uint8Array>;
}

/** The payloads of an envelope: its images, or the deltas to them, or nothing where they lie beside it. */
export function payloadsOf(
  request: Pick<SealRequest, 'detached'> & OpenedParts,
  { memory }: DeviceClass,
  images: readonly DeliveredImage[],
): IntegratedPayload[] {
  const { detached } = request;
  const keys = integratedUris(memory.shape);
  const own = images.flatMap((image, i): IntegratedPayload[] => {
    const { delta, delivered } = image;
    if (delta) {
      const { uri: key, digest, sizeBytes: size, bytes } = delta;
      return [{ key, digest, size, image, pieces: () => [bytes] }];
    }
    return detached ? [] : [{ key: keys[i]!, ...delivered, image, pieces: () => image.pieces() }];
  });
  const { components, dependencies } = request.parts ?? NO_PARTS;
  const parts = [...components, ...dependencies].map((part): IntegratedPayload => {
    const digest = 'fileDigest' in part ? part.fileDigest : part.digest;
    return { key: partUri(request, part), digest, size: part.file.size, pieces: () => part.file.pieces() };
  });
  return [...own, ...(detached ? [] : parts)].toSorted((a, b) => compare(encode(a.key), encode(b.key)));
}

/** Throws `SealError` envelope-too-large where units could not keep `length` bytes of envelope beside its image. */
export function requireRoom({ name, memory }: DeviceClass, length: number): void {
  const room = Math.floor(memory.envelopes.size / memory.slots.length);
  if (length <= room) return;
  throw new SealError(
    'envelope-too-large',
    `the envelope without its image has ${length} bytes, and units of class ${name} keep at most ${room} per slot for the check at start-up`,
    'leave the text out, shorten the certificate chain, use fewer cohorts, recipients or signers, or give the class a larger envelope area',
  );
}
