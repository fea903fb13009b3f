/** What makers seal for the units that are attacked. */
import { concat } from '../../../src/bytes/index.ts';
import { encode } from '../../../src/cbor/index.ts';
import type { Recipient } from '../../../src/cose/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import {
  describeRelease,
  digestOf,
  encodeDigest,
  integratedUris,
  type ReleaseShape,
  type WrittenManifest,
  writeEnvelopeHead,
  writeManifest,
} from '../../../src/suit/index.ts';
import { encryptedRelease } from '../../../test/unit/encrypted.ts';
import { imageOf, VENDOR, VENT } from '../../../test/unit/maker.ts';
import type { Authority } from './authority.ts';
import { KEPT_NUMBER, OFFERED_NUMBER, type Offer, offerFrom } from './offer.ts';
import { PROFILES } from './record.ts';

/** Seed of the image that units keep. */
export const KEPT_SEED = 1;

/** What a maker sealed for one unit. */
export interface Sealed {
  readonly offers: readonly Offer[];
  /** The one that is kept. */
  readonly first: Offer;
  readonly others: readonly Offer[];
}

/** Releases of one image: three to offer, the one that is kept, and others that the unit must not take. */
export function releasesOf(authority: Authority, shape: ReleaseShape): Sealed {
  return {
    offers: [
      seal(authority, shape, {}),
      seal(authority, shape, { seed: 3, detached: true, sever: ['text', 'install'] }),
      seal(authority, shape, { seed: 4, securityVersion: 2, sever: ['text', 'payload-fetch', 'install'] }),
    ],
    first: seal(authority, shape, { number: KEPT_NUMBER, seed: KEPT_SEED }),
    others: [
      seal(authority, shape, { number: KEPT_NUMBER - 1, seed: 5 }),
      seal(authority, shape, { classId: VENDOR, seed: 6 }),
      seal(authority, shape, { deviceId: VENT, seed: 7 }),
    ],
  };
}

interface SealOptions {
  readonly number?: number;
  readonly seed?: number;
  readonly detached?: boolean;
  readonly securityVersion?: number;
  readonly classId?: Uint8Array;
  readonly deviceId?: Uint8Array;
  readonly sever?: readonly ('text' | 'install' | 'payload-fetch')[];
}

const TEXT = {
  language: 'en',
  modelName: 'VC-2',
  updateDescription: 'Repairs the vent motor, and more than that',
};

function seal(authority: Authority, shape: ReleaseShape, options: SealOptions): Offer {
  const { seed = 2, detached = false, securityVersion = 1 } = options;
  const images = (shape === 'linked' ? [0, 1] : [0]).map((i) => imageOf(300 + i, seed + 10 * i));
  const uris = detached
    ? images.map((_, i) => `https://depot.hollinridge.example/${i}`)
    : integratedUris(shape);
  const written = manifestOf(shape, images, uris, options);
  const digest = encodeDigest(digestOf(encode(written.manifest)));
  const integrated = detached ? [] : images.map((bytes, i) => ({ key: uris[i]!, bytes }));
  const pieces = writeEnvelopeHead({
    digest,
    blocks: authority.blocks(digest, securityVersion),
    ...written,
    integrated: integrated.map(({ key, bytes }) => ({ key, length: bytes.length })),
  });
  const envelope = concat(...pieces.flatMap((piece, i) => [piece, integrated[i]?.bytes ?? new Uint8Array()]));
  return offerFrom(envelope, detached ? images.at(-1) : undefined, securityVersion);
}

/** To one recipient: decrypted on the fly into the free slot, or out of the staging area. */
export function encryptedOffers(
  { authority, shape }: { readonly authority: Authority; readonly shape: ReleaseShape },
  recipient: Recipient,
): Promise<Offer[]> {
  return Promise.all(
    [8, 9].map(async (seed) => {
      const { envelope } = await encryptedRelease({
        shape,
        profile: PROFILES[authority.type],
        images: [imageOf(300, seed)],
        recipients: [recipient],
        seal: async (digest) => authority.blocks(digest, 1),
        sequenceNumber: OFFERED_NUMBER,
      });
      return offerFrom(envelope, undefined, 1);
    }),
  );
}

function manifestOf(
  shape: ReleaseShape,
  images: readonly Uint8Array[],
  uris: readonly string[],
  { number = OFFERED_NUMBER, classId = VENT, deviceId, sever = ['text'] }: SealOptions,
): WrittenManifest {
  const description = describeRelease({
    shape,
    sequenceNumber: number,
    vendorId: VENDOR,
    classId,
    deviceId,
    start: true,
    version: '1.4.0',
    text: TEXT,
    images: images.map((image, i) => ({ digest: sha256(image), sizeBytes: image.length, uri: uris[i]! })),
  });
  return writeManifest({ ...description, sever });
}
