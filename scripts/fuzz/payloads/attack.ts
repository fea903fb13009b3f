/** What an attack is: a changed payload, or a unit whose flash is changed or fails. */
import type { Cut } from '../../../src/unit/index.ts';
import { type Node, type Place, write } from '../cbor-tree.ts';
import type { Random } from '../random.ts';
import type { Offer } from './offer.ts';
import { resealed } from './resealed.ts';
import type { Rig } from './rig.ts';

/** A payload that somebody hands to a unit. */
export interface Payload {
  readonly kind: 'payload';
  readonly envelope: Uint8Array;
  readonly image: Uint8Array | undefined;
  /** Digests of the manifests in it that the unit's authority sealed, the genuine one left out. */
  readonly sealed: readonly Uint8Array[];
  /** The seal on it is none: whoever accepts it is wrong, however genuine the rest is. */
  readonly unsealed?: true;
  /** What stops while it is installed: the flash after that many orders, or the power. */
  readonly fault?: { readonly orders: 'any' | 'commit' } | { readonly cut: Cut };
}

/** Flash that somebody changed while the unit had a new image ready, or on trial. */
export interface Tampering {
  readonly kind: 'tampering';
  readonly moment: 'ready' | 'on trial';
  change(bytes: Uint8Array): void;
}

export type Attack = Payload | Tampering;

/** One class of attack. */
export interface AttackClass {
  readonly name: string;
  readonly about: string;
  /** Which units it bears on; all where absent. */
  readonly fits?: (rig: Rig) => boolean;
  /** It makes whole messages; what the others make is put into one where the unit is sent such. */
  readonly outside?: true;
  /** A case of it. `insider`: sealed again by the unit's own authority after the change. */
  make(random: Random, rig: Rig, insider: boolean): Attack;
}

/** The attack that hands over a changed envelope, sealed again where an insider did it. */
export function payloadOf(rig: Rig, offer: Offer, tree: Node, insider: boolean): Payload {
  const { image } = offer;
  if (!insider) return { kind: 'payload', envelope: write(tree), image, sealed: [] };
  const again = resealed(tree, rig.authority);
  return { kind: 'payload', envelope: write(again.tree), image, sealed: [again.digest] };
}

/** Places of an offer whose name satisfies `wanted`; kept, for they are asked for again and again. */
export function placesWhere(offer: Offer, wanted: NameTest): readonly Place[] {
  const known = found.get(offer) ?? new Map<NameTest, readonly Place[]>();
  const places = known.get(wanted) ?? offer.places.filter(({ name }) => wanted(name));
  known.set(wanted, places);
  found.set(offer, known);
  return places;
}

type NameTest = (name: string) => boolean;
const found = new WeakMap<Offer, Map<NameTest, readonly Place[]>>();
