import type { SignerPurpose } from '../../x509/index.ts';
import { type LabelledAnchor, prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';

/**
 * Roots at which a path may end. Retirement counts at install only, as the deny list does: what is on board starts for
 * as long as it verifies. A spare root stands above releases once it has taken the place of another.
 */
export function anchorsFor(
  { record, state }: UnitView,
  revocation: boolean,
  purpose: SignerPurpose,
): readonly LabelledAnchor[] {
  const { anchors } = prepareRecord(record);
  if (!revocation) return anchors;
  const retired = state.trust?.policy?.retired ?? [];
  const standing = anchors.filter(({ fingerprint }) => !retired.includes(fingerprint));
  if (purpose === 'trust' || standing.length < anchors.length) return standing;
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
