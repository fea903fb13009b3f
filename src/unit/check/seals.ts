import type { Headers } from '../../cose/index.ts';
import { purposeOf } from '../../x509/index.ts';
import type { AuthenticationFacts } from '../facts.ts';
import { prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';
import { Trace } from '../trace.ts';
import { attemptOf } from '../verdict.ts';
import { judgeAuthentication } from './authentication.ts';
import { readBoundChain } from './chain.ts';
import type { OpenedEnvelope } from './envelope.ts';
import { judgeByPolicy } from './policy.ts';
import { protectedAlgorithm, signaturesOf } from './seal.ts';
import { judgeSigner } from './signer.ts';
import type { SignerRules } from './signer-path.ts';
import { policySigner, type Vouched } from './vouched.ts';

/**
 * Steps 2 and 3 for a unit: by its policy where it has one, otherwise one signature or MAC of its profile. A trust update
 * has one signature, whatever the policy asks of releases. The same at install and at start-up, but for what `rules` leave
 * out.
 */
export function judgeSeals(
  trace: Trace,
  opened: OpenedEnvelope,
  unit: UnitView,
  rules: SignerRules,
): Vouched {
  const { policy, profile } = prepareRecord(unit.record);
  // Whoever the policy asks for vouches for the manifest that names the digest of the dependency.
  if (policy && !rules.dependency && !isTrustUpdate(opened))
    return judgeByPolicy(trace, opened, unit, { ...rules, purpose: 'release' }, policy);
  const judged = judgeSigner(trace, opened, unit, rules);
  const headers = judgeAuthentication(trace, opened, judged, [profile.algorithm]);
  const { block } = judged!.seal;
  const { facts } = trace;
  const { signer, macKeyId } = facts;
  const fact: AuthenticationFacts = { block, algorithm: facts.algorithm!, signer, macKeyId };
  facts.authentications = [fact];
  const signers = signer ? [policySigner(signer, protectedAlgorithm(headers)!)] : [];
  const trust = judged!.kind === 'signature' ? judged!.trust : undefined;
  return { headers, blocks: [block], signers, trust };
}

/** Whether every signature says that it is of a signer of trust updates. Nothing of it is trusted: it chooses the rules. */
function isTrustUpdate({ blocks }: OpenedEnvelope): boolean {
  const seals = signaturesOf(blocks);
  return seals.length > 0 && seals.every(({ headers }) => claimsTrust(headers));
}

function claimsTrust(headers: Headers): boolean {
  const aside = new Trace(['signer']);
  aside.enter('signer');
  const chain = attemptOf(() => readBoundChain(aside, headers));
  return chain.ok && purposeOf(chain.value[0]!) === 'trust';
}
