import type { SignerPurpose } from '../../x509/index.ts';
import { type LabelledAnchor, prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';

/**
 * Roots at which a path may end. Retirement counts at install only, as the deny list does: what is on board starts for
 * as long as it verifies. A spare root stands above releases once it has taken the place of another. Roots of other
 * authors count for dependencies only.
 */
export function anchorsFor(
  { record, state }: UnitView,
  revocation: boolean,
  purpose: SignerPurpose,
  dependency: boolean,
): readonly LabelledAnchor[] {
  const { anchors, authorAnchors } = prepareRecord(record);
  const own = dependency ? [...anchors, ...authorAnchors] : anchors;
  if (!revocation) return own;
  const retired = state.trust?.policy?.retired ?? [];
  const standing = (all: readonly LabelledAnchor[]) =>
    all.filter(({ fingerprint }) => !retired.includes(fingerprint));
  const mine = ownAnchors(standing(anchors), anchors.length, purpose);
  return dependency ? [...mine, ...standing(authorAnchors)] : mine;
}

function ownAnchors(
  standing: readonly LabelledAnchor[],
  held: number,
  purpose: SignerPurpose,
): readonly LabelledAnchor[] {
  if (purpose === 'trust' || standing.length < held) return standing;
  return standing.filter((anchor) => anchor.purpose === 'release');
}

/**
 * Keys that no path below `anchor` may contain. What was denied under a release root does not bind the spare one: the
 * holder of a leaked root could otherwise shut out the root that is to replace it.
 */
export function deniedBelow({ state }: UnitView, anchor: LabelledAnchor): readonly string[] {
  const { trust } = state;
  const binds = trust && !(trust.rank === 'release' && anchor.purpose === 'spare');
  return binds ? [...state.deniedSigners, ...(trust.policy?.denied ?? [])] : state.deniedSigners;
}

/** Lowest generation of a signer of releases. */
export function minimumGeneration({ state }: UnitView): number {
  return Math.max(state.floors.signerGeneration, state.trust?.policy?.minimumGeneration ?? 0);
}
