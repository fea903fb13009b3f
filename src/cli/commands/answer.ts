import { readFileSync, statSync } from 'node:fs';
import {
  ATTESTATION_LIMITS,
  answerChallenge,
  CHALLENGE_REFUSALS,
  sealToken,
} from '../../attestation/index.ts';
import { deviceOf } from '../../report/index.ts';
import { claimsJson } from '../../verifier/index.ts';
import { attesterOf } from '../../virtual/index.ts';
import { filesOn } from '../../workspace/index.ts';
import { CommandFailure, EXIT, wrongUse } from '../exit.ts';
import { requireFree } from '../require-free.ts';
import { showClaimsSet } from '../show-token.ts';
import type { Call } from '../spec.ts';
import { authenticatorOf } from '../unit-authenticator.ts';
import { openUnitSession } from '../unit-session.ts';

/** Has a unit answer a challenge. */
export async function run(call: Call): Promise<number> {
  const file = call.text('out')!;
  if (!call.flag('force')) requireFree(file);
  const challenge = readChallengeFile(call.text('challenge')!);
  const session = await openUnitSession(call, call.args[0]!);
  try {
    const { record } = session.file;
    const answer = answerChallenge(challenge, attesterOf(session, bootsTold(call)));
    if (!answer.ok) {
      const { says, next } = CHALLENGE_REFUSALS[answer.refusal];
      throw new CommandFailure(
        EXIT.refused,
        answer.refusal,
        `the unit does not answer: ${says} (${answer.detail})`,
        next,
      );
    }
    const authenticator = await authenticatorOf(call, session, 'attestation', call.flag('mac'));
    const token = await sealToken(answer.claims, deviceOf(record), authenticator);
    filesOn().replace(file, token);
    const container = 'sign' in authenticator ? 'COSE_Sign1' : 'COSE_Mac0';
    call.out.line(`unit ${record.serial} (${record.class_name})${record.trial ? '  [TRIAL unit]' : ''}`);
    showClaimsSet(call.out, answer.claims, answer.measured);
    call.out.fact('answer', `${file}, ${token.length} B, ${container}`);
    if (container === 'COSE_Mac0') {
      call.out.caution(
        'whoever holds the class key can make such an answer in the name of any unit of the class',
      );
    }
    call.out.result({
      format: 'fieldseal.answer/1',
      serial: record.serial,
      class: record.class_name,
      file,
      size_bytes: token.length,
      container,
      algorithm: authenticator.algorithm.name,
      claims: claimsJson(answer.claims, answer.measured),
    });
    return EXIT.done;
  } finally {
    session.close();
  }
}

function readChallengeFile(path: string): Uint8Array {
  const { size } = statSync(path, { throwIfNoEntry: false }) ?? {};
  if (size === undefined) throw wrongUse(`${path}: no such file`);
  return new Uint8Array(readFileSync(path).subarray(0, ATTESTATION_LIMITS.challengeSize + 1));
}

const MOST_BOOTS = ATTESTATION_LIMITS.boots;

function bootsTold(call: Call): number {
  const told = call.count('boots') ?? 0;
  if (told > MOST_BOOTS) throw wrongUse(`--boots ${told}: at most ${MOST_BOOTS} records go into one answer`);
  return told;
}
