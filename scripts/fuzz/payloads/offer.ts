/** What is offered to the units that are attacked, before it is changed. */
import { sourceOf } from '../../../src/bytes/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { type Node, type Place, placesOf, treeOf, valueAt, write } from '../cbor-tree.ts';

const MANIFEST = 3;
export const KEPT_NUMBER = 5;
export const OFFERED_NUMBER = 7;

/** What is offered before it is changed. */
export interface Offer {
  readonly tree: Node;
  readonly places: readonly Place[];
  readonly envelope: Uint8Array;
  /** The image, where it comes beside the envelope. */
  readonly image: Uint8Array | undefined;
  readonly manifestDigest: Uint8Array;
  readonly securityVersion: number;
}

/** An envelope as an offer, with the image that comes beside it. */
export function offerFrom(
  envelope: Uint8Array,
  image: Uint8Array | undefined,
  securityVersion: number,
): Offer {
  const tree = treeOf(envelope)!;
  const manifestDigest = sha256(write(valueAt(tree, MANIFEST)!));
  return { tree, places: placesOf(tree), envelope, image, manifestDigest, securityVersion };
}

/** As a unit is offered it. */
export function offerOf({ envelope, image }: { envelope: Uint8Array; image?: Uint8Array | undefined }) {
  return { envelope: sourceOf(envelope), image: image && sourceOf(image) };
}
