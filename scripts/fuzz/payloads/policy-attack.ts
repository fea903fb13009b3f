/** One of several who must seal together acts alone, or somebody puts together what they sealed at other times. */
import { equal } from '../../../src/bytes/index.ts';
import { mutateTree } from '../cbor-mutation.ts';
import { childrenOf, type Node, valueAt, write } from '../cbor-tree.ts';
import type { Random } from '../random.ts';
import { type Payload, placesWhere } from './attack.ts';
import type { CertificateAuthority, Hand } from './certified.ts';
import type { Offer } from './offer.ts';
import { changeBlocks, digested } from './resealed.ts';
import type { Rig } from './rig.ts';

const MOST_BLOCKS = 9;
const inManifest = (name: string) => name.startsWith('/3/<');

/**
 * Whatever is put beside the blocks of one hand, it is no second seal over this manifest, so nobody may accept it. An insider
 * is that hand and can sign anything in any role; an outsider has what was sealed before.
 */
export function aloneAmongSeveral(random: Random, rig: Rig, insider: boolean): Payload {
  const offer = random.pick(rig.offers);
  const changes = insider && random.chance(0.5);
  const changed = changes ? mutateTree(random, offer.tree, placesWhere(offer, inManifest)) : offer.tree;
  const { tree, payload } = digested(changed);
  const authority = rig.authority as CertificateAuthority;
  const own = random.pick(authority.hands);
  const genuine = random.pick(blocksOf(offer));
  const blocks = Array.from({ length: 1 + random.below(MOST_BLOCKS) }, () =>
    insider
      ? byOne(random, authority, own, payload)
      : random.pick([genuine, fromAnother(random, rig, offer)]),
  );
  return {
    kind: 'payload',
    envelope: write(changeBlocks(tree, () => blocks)),
    image: offer.image,
    sealed: [],
    unsealed: true,
  };
}

/** By one key: as itself, under another's certificate, or certified in another's role. */
function byOne(random: Random, authority: CertificateAuthority, own: Hand, digest: Uint8Array): Node {
  const others = authority.hands.filter((hand) => hand !== own);
  const named = random.pick([own, random.pick(others), random.pick(authority.inOtherRoles(own))]);
  const securityVersion = random.chance(0.8) ? 1 : random.below(4);
  return { kind: 'bytes', value: authority.blockOf(named, own, digest, securityVersion) };
}

/** What was sealed for another release. */
function fromAnother(random: Random, rig: Rig, offer: Offer): Node {
  const others = [...rig.offers, ...rig.others].filter(
    ({ manifestDigest }) => !equal(manifestDigest, offer.manifestDigest),
  );
  return random.pick(blocksOf(random.pick(others)));
}

function blocksOf({ tree }: Offer): readonly Node[] {
  const wrapper = valueAt(tree, 2)!;
  return childrenOf(childrenOf(wrapper)[0]!).slice(1);
}
