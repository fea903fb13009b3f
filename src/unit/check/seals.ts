import type { AuthenticationFacts } from '../facts.ts';
import { prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';
import { judgeAuthentication } from './authentication.ts';
import type { OpenedEnvelope } from './envelope.ts';
import { judgeByPolicy } from './policy.ts';
import { protectedAlgorithm } from './seal.ts';
import { judgeSigner } from './signer.ts';
import type { SignerRules } from './signer-path.ts';
import { policySigner, type Vouched } from './vouched.ts';

/**
 * Steps 2 and 3 for a unit: by its policy where it has one, otherwise one signature or MAC of its profile. The same
 * at install and at start-up, but for what `rules` leave out.
 */
export function judgeSeals(
  trace: Trace,
  opened: OpenedEnvelope,
  unit: UnitView,
  rules: SignerRules,
): Vouched {
  const { policy, profile } = prepareRecord(unit.record);
  if (policy) return judgeByPolicy(trace, opened, unit, rules, policy);
  const judged = judgeSigner(trace, opened, unit, rules);
  const headers = judgeAuthentication(trace, opened, judged, [profile.algorithm]);
  const { block } = judged!.seal;
  const { facts } = trace;
  const { signer, macKeyId } = facts;
  const fact: AuthenticationFacts = { block, algorithm: facts.algorithm!, signer, macKeyId };
  facts.authentications = [fact];
  const signers = signer ? [policySigner(signer, protectedAlgorithm(headers)!)] : [];
  return { headers, blocks: [block], signers };
}
