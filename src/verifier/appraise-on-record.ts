import {
  ATTESTATION_REFUSALS,
  type AttestationAppraisal,
  appraiseToken,
  LIMITS_OF_THE_RESULT,
} from '../attestation/index.ts';
import {
  challengeId,
  type JsonObject,
  type Workspace,
  WorkspaceError,
  writeRecord,
} from '../workspace/index.ts';
import { type GivenReferences, openAttestationBooks, type VerifierSession } from './books.ts';
import { rememberBootCount } from './heard.ts';
import { claimsJson } from './token-json.ts';

/**
 * Appraises the answer of a unit against the challenge and the records of the workspace, and enters the result before it is
 * told. Throws `KeyError` where a key of the class is needed and cannot be opened; disk trouble.
 */
export async function appraiseOnRecord(
  session: VerifierSession,
  token: Uint8Array,
  given: GivenReferences,
): Promise<AttestationAppraisal> {
  const books = await openAttestationBooks(session, token, given);
  const first = appraiseToken(token, books);
  return enter(session.workspace, first) ? first : appraiseToken(token, books);
}

/** From then on the challenge is answered. What is incomplete leaves it open. False where another process took the same answer first. */
function enter(workspace: Workspace, appraisal: AttestationAppraisal): boolean {
  const { answers, sender, verdict, refusal } = appraisal;
  if (!answers || !sender || verdict === 'incomplete') return true;
  const id = challengeId(answers);
  try {
    writeRecord(workspace, {
      folder: 'attestations',
      name: [sender.className, id],
      kind: 'attested',
      facts: {
        format: 'fieldseal.attestation/1',
        class: sender.className,
        serial: sender.serial,
        appraised: workspace.now().toISOString(),
        ...(JSON.parse(JSON.stringify(appraisalJson(appraisal))) as JsonObject),
      },
      summary: { class: sender.className, serial: sender.serial, verdict, refusal },
    });
  } catch (error) {
    if (error instanceof WorkspaceError && error.code === 'name-taken') return false;
    throw error;
  }
  rememberBootCount(workspace, appraisal);
  return true;
}

/** An appraisal for programs. */
export function appraisalJson(appraisal: AttestationAppraisal): object {
  const { verdict, refusal, claims, sender, told, measured, release } = appraisal;
  return {
    verdict,
    refusal: refusal && { code: refusal, ...ATTESTATION_REFUSALS[refusal] },
    claims,
    sender: sender ? { class: sender.className, serial: sender.serial, proved_by: sender.provedBy } : null,
    release: release
      ? {
          class: release.className,
          version: release.version,
          sequence_number: String(release.sequenceNumber),
        }
      : null,
    told: told ? claimsJson(told, measured) : null,
    limits: LIMITS_OF_THE_RESULT,
  };
}
