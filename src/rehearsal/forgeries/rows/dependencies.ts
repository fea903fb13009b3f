/** Steps 4 and 5 where a payload depends on others: manifests of other authors, each under its own seal. */
import { CborMap, type CborValue } from '../../../cbor/index.ts';
import { authorOf, dependenciesIn, sealedDependency } from '../dependencies.ts';
import { Draft, digestWith } from '../draft.ts';
import { type Attack, dismantled, type Forgery, onField, resealed } from '../forgery.ts';
import { refusedWith } from '../heard.ts';
import { partsOf } from '../images.ts';
import type { Lab } from '../lab.ts';
import { type Offer, oneBit, type Parts, putTogether } from '../parts.ts';
import { sealedDigest } from '../seals.ts';
import type { Hand } from '../throwaway.ts';
import { strangerLike } from './hands.ts';

const RESOLUTION = 15;
const DIGEST = 3;
const WHERE = ['dependencies'] as const;

/** The dependency changed on its way, which nobody needs a key for; taken out where nothing is given. */
const onTheWay = (
  change: (parts: Parts, lab: Lab) => Uint8Array | undefined | Promise<Uint8Array | undefined>,
): Attack =>
  dismantled(async (parts, lab) => {
    const [first] = dependenciesIn(parts, lab.genuine.verdict.facts);
    const bytes = await change(first!.parts, lab);
    return { integrated: exchanged(parts, first!.at, bytes) };
  });

function exchanged({ integrated }: Parts, at: number, bytes: Uint8Array | undefined): Parts['integrated'] {
  return integrated.flatMap((own, i) => {
    if (i !== at) return own;
    return bytes ? { ...own, bytes } : [];
  });
}

/** What differs in a dependency, and in the payload around it. */
interface Other {
  readonly draft?: (draft: Draft) => void;
  readonly by?: (hand: Hand | undefined, lab: Lab) => Hand | undefined | Promise<Hand | undefined>;
  readonly securityVersion?: CborValue;
  /** Added to the sequence number of the payload around it. */
  readonly later?: bigint;
}

/** The payload around another dependency, both sealed by throwaway authors. */
async function around(lab: Lab, { draft: change, by, securityVersion, later = 0n }: Other): Promise<Offer> {
  const { facts } = lab.genuine.verdict;
  const [first] = dependenciesIn(lab.unsealed.parts, facts);
  const own = new Draft(first!.parts);
  change?.(own);
  const before = partsOf(own, first!.parts);
  const parts = { ...before, digest: sealedDigest(before.manifest) };
  const author = await authorOf(first!, facts, lab.standIn);
  const hand = by ? await by(author, lab) : author;
  const bytes = await sealedDependency(parts, hand, lab.standIn, securityVersion);
  const draft = new Draft({
    ...lab.unsealed.parts,
    integrated: exchanged(lab.unsealed.parts, first!.at, bytes),
  });
  draft.number += later;
  draft.shared = renamed(draft.shared, first!.parts.digest.slice(-32), parts.digest.slice(-32));
  return lab.seal(draft);
}

/** The digest of a dependency exchanged where the shared sequence names it. */
function renamed(pairs: readonly CborValue[], before: Uint8Array, after: Uint8Array): CborValue[] {
  return pairs.map((each) => {
    if (!(each instanceof CborMap)) return each;
    return new CborMap(
      each.entries.map(([code, value]) =>
        code === DIGEST ? [code, digestWith(value as Uint8Array, before, after)] : [code, value],
      ),
    );
  });
}

const withOther = (other: Other): Attack => ({
  against: 'stand-in',
  carryOut: async (lab) => lab.askStandIn(await around(lab, other)),
});

/** A unit that runs the payload around one dependency is offered a later one around another. */
const after = (first: Other, second: Other): Attack =>
  onField(async (field, lab) => {
    const { unit } = field.power('kept');
    const before = unit.install(field.request(await around(lab, first)));
    if (before.verdict !== 'accepted') return refusedWith(before.refusal);
    unit.start();
    unit.keep();
    return refusedWith(unit.install(field.request(await around(lab, { ...second, later: 1n }))).refusal);
  });

export const DEPENDENCY_ROWS: readonly Forgery[] = [
  {
    name: 'A dependency taken out',
    threat: 'NET.ONPATH',
    built: 'the envelope of another author that the payload depends on is left out',
    where: WHERE,
    refusal: 'dependency-missing',
    attack: onTheWay(() => undefined),
  },
  {
    name: 'One bit of a dependency',
    threat: 'NET.ONPATH',
    built: 'the last bit of the manifest of a dependency is changed',
    where: WHERE,
    refusal: 'dependency-wrong',
    attack: onTheWay((parts) => putTogether({ ...parts, manifest: oneBit(parts.manifest, -1) })),
  },
  {
    name: 'Another manifest in the place of a dependency',
    threat: 'MFST.OVERRIDE',
    built:
      'a dependency with the next number, whole in itself, takes the place of the one whose digest was sealed',
    where: WHERE,
    refusal: 'dependency-wrong',
    attack: onTheWay((parts) => {
      const draft = new Draft(parts);
      draft.number += 1n;
      const manifest = draft.write();
      return putTogether({ ...parts, manifest, digest: sealedDigest(manifest) });
    }),
  },
  {
    name: 'A dependency that nobody vouches for',
    threat: 'IMG.NON_AUTH',
    built: 'every block of the dependency is stripped off; its digest is still the one that was sealed',
    where: WHERE,
    refusal: 'dependency-not-authentic',
    attack: onTheWay((parts) => putTogether({ ...parts, blocks: [] })),
  },
  {
    name: 'A dependency sealed by a stranger',
    threat: 'IMG.NON_AUTH',
    built: 'the dependency is sealed under a foreign root whose certificates bear the names of its author',
    where: ['dependencies', 'asymmetric'],
    refusal: 'dependency-not-authentic',
    attack: withOther({ by: async (hand, lab) => (await strangerLike(lab)).hand(hand!.likeness) }),
  },
  {
    name: 'A payload that ignores what it depends on',
    threat: 'MFST.OVERRIDE',
    built: 'the section that fetches and checks the dependencies is left out',
    where: WHERE,
    refusal: 'dependencies-not-followed',
    attack: resealed((draft) => {
      draft.elements.delete(RESOLUTION);
    }),
  },
  {
    name: 'A payload that gives up on what it depends on',
    threat: 'MFST.OVERRIDE',
    built: 'the section that fetches and checks the dependencies ends in a command to abort',
    where: WHERE,
    refusal: 'dependencies-not-followed',
    attack: resealed((draft) => draft.setSection(RESOLUTION, [...draft.section(RESOLUTION), 14, 15])),
  },
  {
    name: 'An author who reaches beyond their own components',
    threat: 'UPD.UNAPPROVED',
    built: 'the dependency is for the component that runs, which its author has no right to',
    where: ['dependencies', 'asymmetric'],
    refusal: 'component-not-permitted',
    attack: withOther({
      draft: (draft) => {
        draft.components = [[new TextEncoder().encode('main')]];
      },
    }),
  },
  {
    name: 'An older dependency under a newer payload',
    threat: 'IMG.EXPIRED',
    built: 'a later payload around a manifest of the other author that is older than the one on board',
    where: WHERE,
    refusal: 'sequence-number-too-low',
    attack: after(
      {
        draft: (draft) => {
          draft.number += 1n;
        },
      },
      {},
    ),
  },
  {
    name: 'A dependency from before a fix',
    threat: 'IMG.EXPIRED',
    built: 'a later payload around a dependency with a lower security version than the one on board',
    where: WHERE,
    refusal: 'security-version-below-floor',
    attack: after({ securityVersion: 1000 }, {}),
  },
  {
    name: 'A dependency with a security version that is a text',
    threat: 'IMG.EXPIRED',
    built: 'the security version in the protected header of the dependency is the text 1',
    where: WHERE,
    refusal: 'security-version-malformed',
    attack: withOther({ securityVersion: '1' }),
  },
];
