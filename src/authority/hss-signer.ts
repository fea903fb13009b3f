import { type HssShape, hssCapacity, hssShapeText } from '../crypto/index.ts';
import {
  type CustodySigner,
  createHssSigner,
  type KeyPlace,
  type KeyProgress,
  type MadeKey,
  type SecretSource,
} from '../keys/index.ts';
import { type JsonObject, startLeaves, type Workspace } from '../workspace/index.ts';
import { AuthorityError } from './error.ts';

/** What a signer with an HSS/LMS key needs beside what every signer has. */
export interface HssChoice {
  readonly shape: HssShape;
  /** Why the key is in a file although the workspace is for production; on record for ever. */
  readonly exception?: string | undefined;
  readonly progress?: KeyProgress | undefined;
}

/** Parameter sets where nothing else is asked for: 1024 signatures. */
export const USUAL_HSS = 'H10/W4';

const REQUIREMENT =
  'NIST SP 800-208 section 8: HSS/LMS keys are made and used in hardware that never exports them';

const IN_FILE = [
  'each signature uses a leaf that must never be used again: two signatures by one leaf let anybody forge. This copy of the workspace counts them; a clone, a copy or a restored counter refuses to sign, and a counter cannot be claimed',
  'what no witness can show: the whole machine or its disk set back to an earlier state (a snapshot, an image), or counter, ledger and records set back together in place. Never do that to a machine that holds this key; where it was done, retire the key',
  'a backup of the key file alone signs nothing: if this copy of the workspace is lost, the key is lost. Have another signer ready',
];
const IN_TOKEN = [
  'each signature uses a leaf that must never be used again: two signatures by one leaf let anybody forge. The token counts them; what is copied, cloned or restored of it must not sign. Ask its maker, and have another signer ready',
];

/**
 * In a production workspace an HSS/LMS key lives in a file only by an exception with a reason. Throws `AuthorityError`
 * hss-custody.
 */
export function requireHssCustody(workspace: Workspace, place: KeyPlace, choice: HssChoice): void {
  if (workspace.kind === 'trial' || place.custody !== 'file' || choice.exception?.trim()) return;
  throw new AuthorityError(
    'hss-custody',
    'An HSS/LMS key in a file can be copied, and two copies that sign let anybody forge; NIST SP 800-208 wants it in hardware that never exports it. A production workspace makes one in a file by a recorded exception only.',
    'If that is decided, say why, for the record: --exception "REASON".',
  );
}

/** Makes the key of an HSS/LMS signer and starts its leaves. Throws `KeyError`. */
export function makeHssSigner(
  workspace: Workspace,
  signer: { readonly name: string; readonly place: KeyPlace },
  { shape, progress }: HssChoice,
  secrets: SecretSource,
): Promise<MadeKey<CustodySigner>> {
  const { name, place } = signer;
  const trial = workspace.kind === 'trial';
  return createHssSigner(
    {
      ...{ name, purpose: 'signer', trial, created: workspace.now(), place, shape, progress },
      startLeaves: (description) => startLeaves(workspace, description),
    },
    secrets,
  );
}

/** What must be known of an HSS/LMS key by whoever keeps it: what this program sees to, and what nothing here can see. */
export function hssCautions(shape: HssShape, custody: KeyPlace['custody']): string[] {
  const limited = `this key makes ${hssCapacity(shape)} signatures and then no more`;
  return custody === 'token' ? [limited, ...IN_TOKEN] : [limited, ...IN_FILE];
}

/** What the ceremony record says of an HSS/LMS key beside what it says of every key. */
export function hssFacts({ shape, exception }: HssChoice, custody: KeyPlace['custody']): JsonObject {
  return {
    parameters: hssShapeText(shape),
    signatures: String(hssCapacity(shape)),
    custody_exception: exception?.trim() ? { from: REQUIREMENT, reason: exception.trim() } : null,
    told: hssCautions(shape, custody),
  };
}
