import { readFileSync, statSync } from 'node:fs';
import {
  ATTESTATION_LIMITS,
  ATTESTATION_REFUSALS,
  type AttestationAppraisal,
  LIMITS_OF_THE_RESULT,
} from '../../attestation/index.ts';
import { fleetKept, takeAppraisal } from '../../fleet/index.ts';
import { appraisalJson, appraiseOnRecord, openReferences, recoveryImage } from '../../verifier/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { openSession, type Session, trialMark } from '../session.ts';
import { showClaims, showNotTaken } from '../show-claims.ts';
import { showClaimsSet } from '../show-token.ts';
import type { Call } from '../spec.ts';

const STATUS = { genuine: EXIT.done, refused: EXIT.refused, incomplete: EXIT.incomplete } as const;

/** Appraises the answer of a unit against the challenge and the records of the workspace. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const path = call.args[0]!;
  const bytes = readTokenFile(path);
  const references = openReferences(call.text('envelope'), call.text('image'));
  try {
    const appraisal = await appraiseOnRecord(session, bytes, {
      image: (digest, { memory }) => references.find(digest, memory),
      recovery: recoveryImage(call.text('recovery')),
      leastNumber: call.big('least-number'),
    });
    call.out.line(`${path}${trialMark(session.workspace)}`);
    show(call, appraisal);
    await tellFleet(session, bytes, appraisal).catch((error: unknown) => {
      if (!(error instanceof Error)) throw error;
      call.out.caution(`the fleet store has not heard of it: ${error.message}`);
    });
    call.out.result({ format: 'fieldseal.appraisal/1', file: path, ...appraisalJson(appraisal) });
    return STATUS[appraisal.verdict];
  } finally {
    references.close();
  }
}

/** The fleet store has it too, where there is one. */
async function tellFleet(
  { workspace }: Session,
  token: Uint8Array,
  appraisal: AttestationAppraisal,
): Promise<void> {
  if (fleetKept(workspace) === undefined) return;
  const store = await openFleetOf({ workspace });
  try {
    await takeAppraisal(store, workspace, token, appraisal);
  } finally {
    await store.close();
  }
}

function readTokenFile(path: string): Uint8Array {
  const { size } = statSync(path, { throwIfNoEntry: false }) ?? {};
  if (size === undefined) throw wrongUse(`${path}: no such file`);
  return new Uint8Array(readFileSync(path).subarray(0, ATTESTATION_LIMITS.tokenSize + 1));
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
