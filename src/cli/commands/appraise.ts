import { readFileSync, statSync } from 'node:fs';
import {
  ATTESTATION_LIMITS,
  ATTESTATION_REFUSALS,
  type AttestationAppraisal,
  appraiseToken,
  LIMITS_OF_THE_RESULT,
} from '../../attestation/index.ts';
import { challengeId, type JsonObject, WorkspaceError, writeRecord } from '../../workspace/index.ts';
import { openAttestationBooks } from '../attestation-books.ts';
import { rememberBootCount } from '../attestation-heard.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openReferences, recoveryImage } from '../reference-images.ts';
import { openSession, type Session, trialMark } from '../session.ts';
import { showClaims, showNotTaken } from '../show-claims.ts';
import { claimsJson, showClaimsSet } from '../show-token.ts';
import type { Call } from '../spec.ts';

const STATUS = { genuine: EXIT.done, refused: EXIT.refused, incomplete: EXIT.incomplete } as const;

/** Appraises the answer of a unit against the challenge and the records of the workspace. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const path = call.args[0]!;
  const bytes = readTokenFile(path);
  const references = openReferences(call.text('envelope'), call.text('image'));
  try {
    const books = await openAttestationBooks(session, bytes, {
      image: (digest, { memory }) => references.find(digest, memory),
      recovery: recoveryImage(call.text('recovery')),
      leastNumber: call.big('least-number'),
    });
    const first = appraiseToken(bytes, books);
    const appraisal = enter(session, first) ? first : appraiseToken(bytes, books);
    call.out.line(`${path}${trialMark(session.workspace)}`);
    show(call, appraisal);
    call.out.result({ format: 'fieldseal.appraisal/1', file: path, ...appraisalJson(appraisal) });
    return STATUS[appraisal.verdict];
  } finally {
    references.close();
  }
}

function readTokenFile(path: string): Uint8Array {
  const { size } = statSync(path, { throwIfNoEntry: false }) ?? {};
  if (size === undefined) throw wrongUse(`${path}: no such file`);
  return new Uint8Array(readFileSync(path).subarray(0, ATTESTATION_LIMITS.tokenSize + 1));
}

/**
 * Enters the result before it is told: from then on the challenge is answered. What is incomplete leaves it open. False where
 * another process took the same answer first.
 */
function enter({ workspace }: Session, appraisal: AttestationAppraisal): boolean {
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

function show(call: Call, appraisal: AttestationAppraisal): void {
  const { out } = call;
  const { claims, sender, told, measured, refusal, verdict } = appraisal;
  showClaims(out, claims);
  if (refusal) showNotTaken(out, refusal, ATTESTATION_REFUSALS[refusal]);
  else if (verdict === 'incomplete') {
    out.line(
      out.paint.bold(
        'incomplete: nothing was refuted, but something needed was absent; the challenge stays open',
      ),
    );
  } else out.line(out.paint.bold('genuine: what was measured is what was sealed'));
  if (told && sender) {
    out.line(`unit ${sender.className} ${sender.serial} says:`);
    showClaimsSet(out, told, measured);
  }
  if (verdict === 'genuine')
    for (const limit of LIMITS_OF_THE_RESULT) out.line(`  ${out.paint.dim('limit')}  ${limit}`);
  if (sender?.provedBy === 'class key') {
    out.caution(
      'a MAC proves only that somebody with the class key made this; any unit of the class could have',
    );
  }
}

function appraisalJson(appraisal: AttestationAppraisal): object {
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
