/** The table of forgeries, in the order of the steps at which they fall. */
import { stepOf } from '../../unit/index.ts';
import { type Forgery, stepOfRefusal } from './forgery.ts';
import { AUTHENTICATION_ROWS } from './rows/authentication.ts';
import { CONTENT_ROWS } from './rows/content.ts';
import { DELTA_ROWS } from './rows/deltas.ts';
import { DEPENDENCY_ROWS } from './rows/dependencies.ts';
import { ENCRYPTION_ROWS } from './rows/encryption.ts';
import { ENVELOPE_ROWS } from './rows/envelope.ts';
import { FIT_ROWS } from './rows/fit.ts';
import { FRESHNESS_ROWS } from './rows/freshness.ts';
import { IDENTITY_ROWS } from './rows/identity.ts';
import { LIFE_ROWS } from './rows/life.ts';
import { MANIFEST_ROWS } from './rows/manifest.ts';
import { MESSAGE_ROWS } from './rows/messages.ts';
import { PATH_ROWS } from './rows/path.ts';
import { SEALING_ROWS } from './rows/sealing.ts';
import { SEVERAL_SIGNERS_ROWS } from './rows/several-signers.ts';
import { SIGNER_ROWS } from './rows/signer.ts';
import { STORAGE_ROWS } from './rows/storage.ts';
import { TRUST_ROWS } from './rows/trust.ts';

const ROWS: readonly Forgery[] = [
  ...SEALING_ROWS,
  ...ENVELOPE_ROWS,
  ...MESSAGE_ROWS,
  ...SIGNER_ROWS,
  ...PATH_ROWS,
  ...AUTHENTICATION_ROWS,
  ...SEVERAL_SIGNERS_ROWS,
  ...MANIFEST_ROWS,
  ...DEPENDENCY_ROWS,
  ...FRESHNESS_ROWS,
  ...IDENTITY_ROWS,
  ...FIT_ROWS,
  ...CONTENT_ROWS,
  ...DELTA_ROWS,
  ...ENCRYPTION_ROWS,
  ...STORAGE_ROWS,
  ...LIFE_ROWS,
  ...TRUST_ROWS,
];

/** Number of the step at which a row falls; what sealing refuses comes before every unit. */
function orderOf({ refusal }: Forgery): number {
  const step = stepOfRefusal(refusal);
  return step === 'seal' ? 0 : stepOf(step).number;
}

export const FORGERIES: readonly Forgery[] = ROWS.toSorted((a, b) => orderOf(a) - orderOf(b));
