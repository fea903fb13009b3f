import { equal } from '../../bytes/index.ts';
import type { SignerFacts } from '../facts.ts';
import { type PolicySigner, type ResolvedPolicy, standingOf, suits } from '../policy.ts';
import { REFUSALS, type Refusal } from '../refusals.ts';
import { readSecurityVersion } from '../security-version.ts';
import type { UnitView } from '../state.ts';
import type { StepName } from '../steps.ts';
import { type Question, Trace } from '../trace.ts';
import { attemptOf } from '../verdict.ts';
import {
  algorithmText,
  type JudgedSignature,
  judgeAlgorithm,
  judgeSignature as judgeMade,
  refuseUnsealed,
} from './authentication.ts';
import { readBoundChain } from './chain.ts';
import type { OpenedEnvelope } from './envelope.ts';
import { protectedAlgorithm, type SignatureSeal, signaturesOf } from './seal.ts';
import { judgeSignature as judgeWho, MAXIMUM_SIGNATURES } from './signer.ts';
import type { SignerRules } from './signer-path.ts';
import { policySigner, type Vouched } from './vouched.ts';

const SOURCE = 'docs/deployment-profile.md; draft-ietf-suit-manifest 8.3';

/** A signature whose signer may seal for the unit. */
interface Known {
  readonly judged: JudgedSignature;
  readonly who: SignerFacts;
  readonly signer: PolicySigner;
}

/** A signature that does not count, and why. */
interface Failed {
  readonly refusal: Refusal;
  readonly question: Question;
  /** Who it says it is of, where that can be read; nobody vouches for it. */
  readonly claimed: PolicySigner | undefined;
}

/**
 * Steps 2 and 3 by a policy: every signature of its algorithms is judged by itself, and enough different keys must
 * meet enough demands. One that fails takes nothing from the others; the decision ends with its refusal only where
 * the policy would be met with it. Neither the order nor the repetition of blocks changes the answer.
 */
export function judgeByPolicy(
  trace: Trace,
  opened: OpenedEnvelope,
  unit: UnitView,
  rules: SignerRules,
  policy: ResolvedPolicy,
): Vouched {
  trace.enter('signer');
  const seals = candidatesOf(trace, opened, policy);
  const known = judgeSigners(trace, seals, unit, rules, policy);
  trace.enter('authentication');
  if (seals.length === 0) refuseWithout(trace, opened, policy);
  const counting = judgeSignatures(trace, known, opened.envelope.digest.encoded, policy);
  judgeSecurityVersions(trace, counting);
  const [first] = counting;
  trace.facts.signer = first!.who;
  trace.facts.algorithm = algorithmText(first!.signer.algorithm);
  trace.facts.authentications = counting.map(({ judged, who, signer }) => ({
    block: judged.seal.block,
    algorithm: algorithmText(signer.algorithm),
    signer: who,
  }));
  return {
    headers: first!.judged.seal.headers,
    blocks: [...new Set(counting.map(({ judged }) => judged.seal.block))].toSorted((a, b) => a - b),
    signers: counting.map(({ signer }) => signer),
  };
}

/** The signatures that the policy can use; the bound is on all of them, so that their order makes no difference. */
function candidatesOf(
  trace: Trace,
  { blocks }: OpenedEnvelope,
  { algorithms }: ResolvedPolicy,
): SignatureSeal[] {
  const all = signaturesOf(blocks);
  const seals = all.filter(({ headers }) => algorithms.includes(protectedAlgorithm(headers) ?? Number.NaN));
  const question = {
    what: 'signatures of the algorithms that the policy asks for',
    expected: `at most ${MAXIMUM_SIGNATURES}`,
    found: `${seals.length} of ${all.length}`,
    source: SOURCE,
  };
  trace.require(seals.length <= MAXIMUM_SIGNATURES, 'signatures-too-many', question);
  if (seals.length === 0) trace.lacks({ ...question, expected: 'one at least' });
  return seals;
}

function judgeSigners(
  trace: Trace,
  seals: readonly SignatureSeal[],
  unit: UnitView,
  rules: SignerRules,
  policy: ResolvedPolicy,
): Known[] {
  const known: Known[] = [];
  const failed: Failed[] = [];
  for (const seal of seals) {
    const algorithm = protectedAlgorithm(seal.headers)!;
    const result = judgeAside(trace, seal, 'signer', (aside) => {
      const judged = judgeWho(aside, seal, unit, rules);
      const who = aside.facts.signer!;
      const signer = policySigner(who, algorithm);
      aside.note({ what: 'counts as', found: signerText(signer), source: SOURCE });
      return { judged, who, signer };
    });
    if (result.ok) known.push(result.value);
    else failed.push({ ...result, claimed: claimOf(seal, algorithm) });
  }
  if (!standingOf(policy, signersOf(known)).satisfied) refuseWhereItMatters(trace, known, failed, policy);
  return known;
}

/** Judges one signature in a trace of its own, whose lines are taken over; what failed is noted, not refused. */
function judgeAside<T>(
  trace: Trace,
  { block }: SignatureSeal,
  step: StepName,
  body: (aside: Trace) => T,
): { ok: true; value: T } | { ok: false; refusal: Refusal; question: Question } {
  const aside = new Trace([step]);
  aside.enter(step);
  const attempt = attemptOf(() => body(aside));
  const lines = aside.steps[0]!.comparisons.map((line) => ({
    ...line,
    what: `block ${block + 1}: ${line.what}`,
  }));
  if (attempt.ok) {
    trace.adopt(lines);
    return attempt;
  }
  const { what, expected, found, source } = lines.pop()!;
  const question = { what, expected, found, source };
  trace.adopt(lines);
  const { code } = attempt.refusal;
  trace.note({ ...question, what: `${what} (does not count: ${code})` });
  return { ok: false, refusal: attempt.refusal, question };
}

/** Who a signature says it is of. For choosing among refusals only: nothing of it is trusted. */
function claimOf(seal: SignatureSeal, algorithm: number): PolicySigner | undefined {
  const aside = new Trace(['signer']);
  aside.enter('signer');
  const chain = attemptOf(() => readBoundChain(aside, seal.headers));
  return chain.ok ? policySigner({ certificate: chain.value[0]!, anchor: '' }, algorithm) : undefined;
}

/**
 * Ends the decision with the reason for which a signature does not count, where the policy would be met if it did, or
 * where no signature counts at all. Of several reasons the one that came furthest, whatever their order.
 */
function refuseWhereItMatters(
  trace: Trace,
  known: readonly Known[],
  failed: readonly Failed[],
  policy: ResolvedPolicy,
): void {
  const furthest = failed.toSorted((a, b) => REFUSALS.indexOf(b.refusal) - REFUSALS.indexOf(a.refusal))[0];
  if (!furthest) return;
  const anywhere = { ...policy, demands: policy.demands.map((each) => ({ ...each, anchors: undefined })) };
  const claimed = failed.flatMap(({ claimed: each }) => each ?? []);
  const matters = standingOf(anywhere, [...signersOf(known), ...claimed]).satisfied;
  if (matters || known.length === 0) trace.refuse(furthest.refusal.code, furthest.question);
}

/** Nothing to judge: no seal of this scheme, or none of an algorithm that is asked for. */
function refuseWithout(trace: Trace, { blocks }: OpenedEnvelope, { algorithms }: ResolvedPolicy): never {
  for (const { headers } of signaturesOf(blocks)) judgeAlgorithm(trace, headers, algorithms);
  return refuseUnsealed(trace, blocks);
}

function judgeSignatures(
  trace: Trace,
  known: readonly Known[],
  digest: Uint8Array,
  policy: ResolvedPolicy,
): Known[] {
  const good: Known[] = [];
  const failed: Failed[] = [];
  for (const each of known) {
    const { judged, signer } = each;
    const result = judgeAside(trace, judged.seal, 'authentication', (aside) =>
      judgeMade(aside, judged, digest),
    );
    if (result.ok) good.push(each);
    else failed.push({ ...result, claimed: signer });
  }
  const standing = standingOf(policy, signersOf(good));
  if (!standing.satisfied) refuseWhereItMatters(trace, good, failed, policy);
  const keys = new Set(good.map(({ signer }) => signer.fingerprint)).size;
  trace.require(standing.satisfied, keys < policy.needed ? 'authentications-too-few' : 'role-missing', {
    what: 'signers that the policy asks for, each key counted once',
    expected: () => policy.text,
    found: () => standingText(good, standing.met, standing.open),
    source: SOURCE,
  });
  return firstOfEach(good.filter(({ signer }) => policy.demands.some((demand) => suits(signer, demand))));
}

function standingText(good: readonly Known[], met: number, open: ResolvedPolicy['demands']): string {
  const who = [...new Set(good.map(({ signer }) => signerText(signer)))].join('; ') || 'nobody';
  const missing = open.length === 0 ? '' : `; open: ${open.map(({ text }) => text).join('; ')}`;
  return `${met} met by ${who}${missing}`;
}

function signerText({ role, algorithm, fingerprint }: PolicySigner): string {
  return `${role ?? 'no role'}, ${algorithmText(algorithm)}, key ${fingerprint}`;
}

/** The first signature under each certificate; further ones of the same signer add nothing. */
function firstOfEach(known: readonly Known[]): Known[] {
  const der = ({ who }: Known) => who.certificate.der;
  return known.filter((each, i) => known.findIndex((other) => equal(der(other), der(each))) === i);
}

/** A floor that only one signer vouches for would let the others' silence lower it. */
function judgeSecurityVersions(trace: Trace, counting: readonly Known[]): void {
  const versions = counting.map(({ judged }) => readSecurityVersion(judged.seal.headers) ?? 'malformed');
  trace.require(new Set(versions).size === 1, 'security-versions-differ', {
    what: 'security versions that the signers state',
    expected: 'the same in each signature',
    found: () => versions.join(', '),
    source: 'docs/deployment-profile.md; RFC 9124 4.2.1',
  });
}

function signersOf(known: readonly Known[]): PolicySigner[] {
  return known.map(({ signer }) => signer);
}
