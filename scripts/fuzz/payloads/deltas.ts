/** Releases by delta from the image that units keep. */
import { concat } from '../../../src/bytes/index.ts';
import { encode } from '../../../src/cbor/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import {
  deltaUris,
  describeRelease,
  digestOf,
  encodeDigest,
  writeEnvelopeHead,
  writeManifest,
} from '../../../src/suit/index.ts';
import { edited } from '../../../test/delta/helpers.ts';
import { deltaOf } from '../../../test/unit/deltas.ts';
import { imageOf, VENDOR, VENT } from '../../../test/unit/maker.ts';
import { OFFERED_NUMBER, type Offer, offerFrom } from './offer.ts';
import type { Rig } from './rig.ts';
import { KEPT_SEED } from './sealed.ts';

const KEPT_IMAGE = imageOf(300, KEPT_SEED);
/** RAM that units set aside for a window, where they take deltas: smaller than the images. */
export const DELTA_WINDOW = 128;

/** The same unit, with releases by delta on offer. */
export function takingDeltas(rig: Rig): Rig {
  return { ...rig, byDelta: [11, 12].map((seed) => sealDelta(rig, deltaFor(seed))) };
}

/** A delta from the image that is kept, and the image that it makes. */
export interface RigDelta {
  readonly delta: Uint8Array;
  readonly image: Uint8Array;
}

/** The same for the same seed, made once. */
export function deltaFor(seed: number): RigDelta {
  const known = deltas.get(seed);
  if (known) return known;
  const image = edited(KEPT_IMAGE, seed, 5);
  const made = { image, delta: deltaOf(KEPT_IMAGE, image, DELTA_WINDOW) };
  deltas.set(seed, made);
  return made;
}

const deltas = new Map<number, RigDelta>();

/** Seals a delta, whatever it is, as one that makes the image. */
export function sealDelta({ authority, shape }: Pick<Rig, 'authority' | 'shape'>, made: RigDelta): Offer {
  const { delta, image } = made;
  const [uri] = deltaUris(shape);
  const description = describeRelease({
    shape,
    sequenceNumber: OFFERED_NUMBER,
    vendorId: VENDOR,
    classId: VENT,
    start: true,
    images: [
      {
        digest: sha256(image),
        sizeBytes: image.length,
        uri: 'https://depot.hollinridge.example/0',
        delta: {
          uri: uri!,
          digest: sha256(delta),
          sizeBytes: delta.length,
          windowBytes: DELTA_WINDOW,
          precursor: { digest: sha256(KEPT_IMAGE), sizeBytes: KEPT_IMAGE.length },
        },
      },
    ],
  });
  const written = writeManifest(description);
  const digest = encodeDigest(digestOf(encode(written.manifest)));
  const [head] = writeEnvelopeHead({
    digest,
    blocks: authority.blocks(digest, 1),
    ...written,
    integrated: [{ key: uri!, length: delta.length }],
  });
  return offerFrom(concat(head!, delta), undefined, 1);
}
