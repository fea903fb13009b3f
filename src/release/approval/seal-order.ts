import { equal, toHex } from '../../bytes/index.ts';
import { SealError } from '../error.ts';
import type { PreparedImage } from '../images.ts';
import { buildManifest, type ManifestRequest, type NamedImage } from '../manifest.ts';
import { encryptsImages, recipientKeyIds } from '../recipients.ts';
import type { SealRequest } from '../request.ts';
import type { FrozenImage } from './frozen.ts';
import type { OpenedRequest } from './open.ts';
import { type ApprovalStanding, nameOf } from './standing.ts';

/** A request to be sealed; what is sealed is what it froze. */
export interface SealOrder
  extends Pick<
    SealRequest,
    | 'workspace'
    | 'secrets'
    | 'module'
    | 'growing'
    | 'images'
    | 'components'
    | 'dependencies'
    | 'deltaFrom'
    | 'out'
    | 'force'
    | 'unfinished'
    | 'progress'
  > {
  /** Class and number, or the path of the record. */
  readonly request: string;
}

/** A request that may be sealed. */
export interface Approved {
  readonly opened: OpenedRequest;
  readonly standing: ApprovalStanding;
}

/** What is to be sealed by what a request froze. */
export function requestOf(order: SealOrder, { frozen, deviceClass }: OpenedRequest): SealRequest {
  const { request: _, images, ...rest } = order;
  return {
    ...rest,
    className: deviceClass.name,
    images: images.map((image, i) => ({ ...image, uri: frozen.images[i]?.uri })),
    version: frozen.version,
    detached: frozen.detached,
    signers: frozen.signers,
    securityVersion: frozen.securityVersion,
    deviceId: frozen.deviceId,
    description: frozen.description,
    withoutText: frozen.withoutText,
    referenceUri: frozen.referenceUri,
  };
}

/**
 * Refuses images, or a choice of encryption, that are not the ones the request froze. That the manifest follows from it was
 * established when it was opened. Throws `SealError` not-as-requested.
 */
export function requireAsFrozen(opened: OpenedRequest, images: readonly PreparedImage[]): void {
  const { frozen } = opened;
  for (const [i, image] of images.entries()) {
    const wanted = frozen.images[i];
    if (wanted && same(wanted, image)) continue;
    throw different(
      opened,
      wanted
        ? `${image.input.path} has ${image.flat.size} bytes for ${image.flat.address}, SHA-256 ${toHex(image.digest)}, and approved were ${wanted.sizeBytes} bytes for ${wanted.address}, SHA-256 ${toHex(wanted.digest)}`
        : `it has ${frozen.images.length} images`,
    );
  }
  if (images.length !== frozen.images.length)
    throw different(opened, `it has ${frozen.images.length} images`);
  requireSameEncryption(opened);
}

/**
 * Refuses whatever else the request did not freeze: the manifest of all that was given, images as they are, must be the frozen
 * one byte for byte. Throws `SealError` not-as-requested.
 */
export function requireManifestAsFrozen(
  opened: OpenedRequest,
  request: ManifestRequest,
  images: readonly NamedImage[],
): void {
  const { frozen, deviceClass } = opened;
  const clear = images.map((image) => ({
    ...image,
    delivered: { digest: image.digest },
    encryption: undefined,
  }));
  const { manifest } = buildManifest(request, deviceClass, clear, frozen.sequenceNumber);
  if (equal(manifest, frozen.manifest)) return;
  throw different(
    opened,
    'deltas, further components or envelopes of other authors are not the ones that were approved; name all of them again, as the request did',
  );
}

function same(wanted: FrozenImage, { digest, flat }: PreparedImage): boolean {
  return equal(wanted.digest, digest) && wanted.sizeBytes === flat.size && wanted.address === flat.address;
}

function requireSameEncryption(opened: OpenedRequest): void {
  const { frozen, deviceClass, workspace } = opened;
  const { encryption } = frozen;
  if (!encryption) return;
  const keyIds = recipientKeyIds(workspace, deviceClass, frozen.deviceId);
  const unchanged =
    encryptsImages(deviceClass) &&
    encryption.algorithm === deviceClass.profile.content.name &&
    encryption.kind === deviceClass.recipients &&
    keyIds.length === encryption.keyIds.length &&
    keyIds.every((keyId, i) => equal(keyId, encryption.keyIds[i]!));
  if (!unchanged)
    throw different(opened, 'the images would be encrypted in another way, or for others, than was approved');
}

function different(opened: OpenedRequest, why: string): SealError {
  return new SealError(
    'not-as-requested',
    `this is not what the sealing request ${nameOf(opened)} froze: ${why}; nothing was sealed`,
    'seal what was approved, or make a new request and have it approved',
  );
}
