import type { UnitFigures } from '../figures/book.ts';
import type { Figure } from '../figures/figure.ts';
import type { UnitFigure } from '../figures/unit-rows.ts';
import type { AddedBytes } from './sizes.ts';

const VERIFY_FIGURES: Readonly<Record<string, UnitFigure>> = {
  ESP256: 'esp256_verify',
  Ed25519: 'ed25519_verify',
  'HSS-LMS': 'hss_lms_verify',
};
const THOUSAND = 1000;

/** How long a unit's core is busy with proving a release, in milliseconds, and on which figures that rests. */
export interface VerifyTime {
  /** Signatures and certificates, once. */
  readonly authentication: number;
  /** Hashing the image, once. */
  readonly image: number;
  readonly figures: readonly { readonly name: UnitFigure; readonly figure: Figure }[];
}

/**
 * Time to verify a release under a profile: at install and again at every start. Certificates are counted as verified by
 * the signature algorithm of the profile.
 */
export function verifyTime(
  { profile, verifications }: AddedBytes,
  imageBytes: number,
  unit: UnitFigures,
): VerifyTime {
  const name = VERIFY_FIGURES[profile.authentication.name];
  const used: UnitFigure[] = [...(name ? [name] : []), 'hash_rate'];
  return {
    authentication: name ? verifications * unit[name].value : 0,
    image: (imageBytes / unit.hash_rate.value) * THOUSAND,
    figures: used.map((each) => ({ name: each, figure: unit[each] })),
  };
}
