import { badRelease, certificateExpiry, hssDoubt, rootLeak, signerLeak } from './asymmetric.ts';
import type { Stage } from './stage.ts';
import { classKeyLeak, cohortKeyLeak } from './symmetric.ts';

export { type Move, type Play, Stage, type StageFiles } from './stage.ts';

/** How each kind of incident is played, by its name. */
export const DRILLS: Readonly<Record<string, (stage: Stage) => void>> = {
  'signer-leak': signerLeak,
  'root-leak': rootLeak,
  'class-key-leak': classKeyLeak,
  'cohort-key-leak': cohortKeyLeak,
  'certificate-expiry': certificateExpiry,
  'bad-release': badRelease,
  'hss-doubt': hssDoubt,
};
