/** Attacks on the release of another maker that travels inside a release. */
import { equal } from '../../../src/bytes/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { mutateTree } from '../cbor-mutation.ts';
import { changeAt, childrenOf, type Node, placesOf, valueAt, withChildren, write } from '../cbor-tree.ts';
import type { Random } from '../random.ts';
import { type Payload, payloadOf, placesWhere } from './attack.ts';
import type { Offer } from './offer.ts';
import { resealed } from './resealed.ts';
import type { Rig } from './rig.ts';

const MANIFEST = 3;
const isElement = (name: string) => name === '/text';
const inManifest = (name: string) => name.startsWith('/3/<');

/**
 * Outsiders change the inner envelope. Insiders seal it again: the radio's maker alone, whose release the outer manifest does
 * not name; the maker of the unit alone, who may not seal for the radio and names what it made all the same; or both.
 */
export function otherDependency(random: Random, rig: Rig, insider: boolean): Payload {
  const offer = random.pick(rig.offers);
  const place = placesWhere(offer, isElement).find(({ node }) => node.kind === 'wrapped')!;
  const inner = childrenOf(place.node)[0]!;
  const everywhere = placesOf(inner);
  const places = random.chance(0.6) ? everywhere.filter(({ name }) => inManifest(name)) : everywhere;
  const changed = mutateTree(random, inner, places, everywhere);
  const within = (tree: Node, envelope: Node) =>
    changeAt(tree, place.path, (node) => withChildren(node, [envelope]));
  if (!insider) return payloadOf(rig, offer, within(offer.tree, changed), false);
  const by = random.pick(['radio', 'own', 'both', 'both'] as const);
  const { tree, digest } = resealed(changed, by === 'own' ? rig.authority : rig.radio!.authority);
  const whole = within(offer.tree, tree);
  if (by === 'radio') return payloadOf(rig, offer, whole, false);
  return payloadOf(rig, offer, naming(offer, whole, sha256(write(valueAt(inner, MANIFEST)!)), digest), true);
}

/** The outer manifest with another digest wherever it names `from`. */
function naming(offer: Offer, whole: Node, from: Uint8Array, to: Uint8Array): Node {
  return placesWhere(offer, inManifest)
    .filter(({ node }) => node.kind === 'bytes' && equal(node.value, from))
    .reduce((tree, { path }) => changeAt(tree, path, () => ({ kind: 'bytes', value: to })), whole);
}
