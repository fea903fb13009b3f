/** The table of forgeries, in the order of the steps at which they fall. */
import { stepOf } from '../../unit/index.ts';
import { type Forgery, stepOfRefusal } from './forgery.ts';
import { AUTHENTICATION_ROWS } from './rows/authentication.ts';
import { CONTENT_ROWS } from './rows/content.ts';
import { ENVELOPE_ROWS } from './rows/envelope.ts';
import { FIT_ROWS } from './rows/fit.ts';
import { FRESHNESS_ROWS } from './rows/freshness.ts';
import { IDENTITY_ROWS } from './rows/identity.ts';
import { MANIFEST_ROWS } from './rows/manifest.ts';
import { PATH_ROWS } from './rows/path.ts';
import { SIGNER_ROWS } from './rows/signer.ts';

const ROWS: readonly Forgery[] = [
  ...ENVELOPE_ROWS,
  ...SIGNER_ROWS,
  ...PATH_ROWS,
  ...AUTHENTICATION_ROWS,
  ...MANIFEST_ROWS,
  ...FRESHNESS_ROWS,
  ...IDENTITY_ROWS,
  ...FIT_ROWS,
  ...CONTENT_ROWS,
];

/** Number of the step at which a row falls; what sealing refuses comes before every unit. */
function orderOf({ refusal }: Forgery): number {
  const step = stepOfRefusal(refusal);
  return step === 'seal' ? 0 : stepOf(step).number;
}

export const FORGERIES: readonly Forgery[] = ROWS.toSorted((a, b) => orderOf(a) - orderOf(b));
