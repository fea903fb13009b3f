import { type Answer, answerChallenge, sealToken } from '../../attestation/index.ts';
import type { SecretSource } from '../../keys/index.ts';
import { deviceOf } from '../../report/index.ts';
import { attesterOf, type PoweredUnit, unitAuthenticator } from '../../virtual/index.ts';
import { DeskError } from '../error.ts';

/** What a unit answered: a token that it signed or MACed, or the reason why it does not answer. */
export type Answered =
  | Extract<Answer, { ok: false }>
  | (Extract<Answer, { ok: true }> & {
      readonly token: Uint8Array;
      readonly container: 'COSE_Sign1' | 'COSE_Mac0';
      readonly algorithm: string;
    });

/** Has a unit under power answer a challenge. Throws `KeyError`; `DeskError` for one that has no key for it. */
export async function answerPlay(
  unit: PoweredUnit,
  challenge: Uint8Array,
  secrets: SecretSource,
): Promise<Answered> {
  const answer = answerChallenge(challenge, attesterOf(unit, 0));
  if (!answer.ok) return answer;
  const authenticator = await unitAuthenticator(unit, 'attestation', {
    mac: false,
    secretsFor: () => secrets,
  });
  if (!authenticator) {
    throw new DeskError(
      'request-wrong',
      'this unit has no key to answer with: nobody could tell what it says from a forgery',
      'provision a unit with a key for the purpose attestation',
    );
  }
  const token = await sealToken(answer.claims, deviceOf(unit.file.record), authenticator);
  const container = 'sign' in authenticator ? 'COSE_Sign1' : 'COSE_Mac0';
  return { ...answer, token, container, algorithm: authenticator.algorithm.name };
}
