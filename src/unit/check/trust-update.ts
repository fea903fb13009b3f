import { equal } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { type Envelope, type Manifest, type Outcome, runSequences } from '../../suit/index.ts';
import { UNIT_LIMITS } from '../limits.ts';
import type { TrustPlan } from '../ports.ts';
import { prepareRecord } from '../prepared.ts';
import type { AnchorPurpose } from '../record.ts';
import type { UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';
import { loosened, readTrustPolicy, type TrustPolicy } from '../trust-policy.ts';
import { judgeMarks, judgeTrial } from './freshness.ts';
import { judgeIdentity } from './identity.ts';

/** A trust update whose signature holds, and the kind of root above its signer. */
export interface SealedPolicy {
  readonly envelope: Envelope;
  readonly manifest: Manifest;
  readonly rank: AnchorPurpose;
}

const SOURCE = 'docs/deployment-profile.md; RFC 9124 4.3.18';
const IMAGE_MATCH = 3;
const WRITE = 18;
const OK: Outcome = { ok: true };

/**
 * What a unit judges of a trust update, from the end of step 4 to step 7: its policy, who may retire a root, that it is
 * newer and takes nothing back, that it is meant for this unit, and that the unit still starts afterwards.
 */
export function judgeTrustUpdate(
  trace: Trace,
  { envelope, manifest, rank }: SealedPolicy,
  unit: UnitView,
  at: Date | undefined,
): TrustPlan {
  const { content, policy } = readPolicy(trace, manifest);
  judgeRetirement(trace, policy, unit, rank);
  const manifestDigest = envelope.digest.bytes;
  const { sequenceNumber: number } = manifest;
  const already = judgeNewer(trace, { manifestDigest, number, policy, rank }, unit);
  judgeIdentity(trace, manifest, { unit, slot: 0, at });
  judgePlace(trace, unit);
  if (!already) judgeStart(trace, policy, unit);
  const effect = already ? 'already there' : 'new install';
  trace.facts.effect = effect;
  trace.facts.trust = { ...policy, rank };
  return { effect, trust: { rank, number, manifestDigest, policy, content } };
}

/** The policy stands in the manifest, written by one command; every digest that the manifest states is its own. */
function readPolicy(trace: Trace, manifest: Manifest): { content: Uint8Array; policy: TrustPolicy } {
  const question = {
    what: 'policy in the manifest',
    expected: 'one write of a whole policy, with its digest',
    source: 'docs/deployment-profile.md; draft-ietf-suit-manifest 8.4.8.9, 8.4.10.6',
  };
  const written: Uint8Array[] = [];
  const digests: Uint8Array[] = [];
  const outcome = runSequences(manifest, ['install', 'validate'], {
    condition(code, _component, parameters) {
      if (code === IMAGE_MATCH) digests.push(new Uint8Array(parameters.get(IMAGE_MATCH)!.bytes));
      return OK;
    },
    directive(code, _component, parameters) {
      if (code !== WRITE) return { ok: false, reason: 'host', detail: `directive ${code}` };
      written.push(new Uint8Array(parameters.get(WRITE)!));
      return OK;
    },
  });
  const [content] = written;
  const others = [...manifest.sequences.keys()].filter((name) => name !== 'install' && name !== 'validate');
  if (!outcome.ok) return trace.refuse('policy-malformed', question, outcome.detail);
  if (!content || written.length > 1 || others.length > 0)
    return trace.refuse('policy-malformed', question, `${written.length} writes, and ${others.join(', ')}`);
  const own = sha256(content);
  if (digests.length === 0 || !digests.every((digest) => equal(digest, own)))
    return trace.refuse('policy-malformed', question, 'a digest of something else, or none');
  const policy = readTrustPolicy(content);
  if ('fault' in policy) return trace.refuse('policy-malformed', question, policy.fault);
  trace.holds(question, () => policyText(policy));
  return { content, policy };
}

function policyText({ minimumGeneration, denied, retired, securityVersion }: TrustPolicy): string {
  const floor = securityVersion > 0 ? `, security version ${securityVersion} or later` : '';
  return `generation ${minimumGeneration} or later${floor}, ${denied.length} keys denied, ${retired.length} roots retired`;
}

/** A root goes only where a spare one says so, and never the one that says it. */
function judgeRetirement(trace: Trace, { retired }: TrustPolicy, unit: UnitView, rank: AnchorPurpose): void {
  const { anchors } = prepareRecord(unit.record);
  const before = unit.state.trust?.policy?.retired ?? [];
  const going = anchors.filter(
    ({ fingerprint }) => retired.includes(fingerprint) && !before.includes(fingerprint),
  );
  const permitted = rank === 'spare' && going.every(({ purpose }) => purpose === 'release');
  trace.require(going.length === 0 || permitted, 'retirement-not-permitted', {
    what: 'roots of the unit that it retires',
    expected: rank === 'spare' ? 'release roots' : 'none: its signer stands below a release root',
    found: () => going.map(({ label }) => label).join(', ') || 'none',
    source: SOURCE,
  });
}

interface Candidate {
  readonly manifestDigest: Uint8Array;
  readonly number: bigint;
  readonly policy: TrustPolicy;
  readonly rank: AnchorPurpose;
}

/** Step 5: above the last number under this kind of root, and nothing taken back. True where it was taken before. */
function judgeNewer(trace: Trace, candidate: Candidate, unit: UnitView): boolean {
  const { number, policy, rank } = candidate;
  const { trust } = unit.state;
  trace.enter('freshness');
  judgeMarks(trace, unit);
  judgeTrial(trace, unit);
  const last = trust?.numbers[rank] ?? 0n;
  const already =
    trust !== undefined && number === last && equal(trust.manifestDigest, candidate.manifestDigest);
  trace.require(already || number > last, 'trust-number-too-low', {
    what: `number of the trust update, under a ${rank} root`,
    expected: () => `above ${last}, the last one taken`,
    found: number,
    source: 'RFC 9124 4.3.1; docs/deployment-profile.md',
  });
  const before = trust?.policy;
  const afresh = trust?.rank === 'release' && rank === 'spare';
  const back = before && !afresh ? loosened(before, policy) : undefined;
  trace.require(back === undefined, 'trust-update-loosens', {
    what: 'what earlier trust updates said',
    expected: 'all of it still there',
    found: back ?? (afresh ? 'begun afresh: the spare root outranks them' : 'so'),
    source: SOURCE,
  });
  return already;
}

function judgePlace(trace: Trace, { record }: UnitView): void {
  trace.enter('fit');
  trace.require(record.memory.policy !== undefined, 'component-unknown', {
    what: 'policy area of the unit',
    expected: `one that holds up to ${UNIT_LIMITS.denied.value} keys`,
    found: record.memory.policy ? 'so' : 'none: this unit takes no trust updates',
    source: 'docs/deployment-profile.md',
  });
}

/** Deny list, generation and retirement stop no start; a floor of the security version does. */
function judgeStart(trace: Trace, { securityVersion }: TrustPolicy, unit: UnitView): void {
  const question = {
    what: 'images that start afterwards',
    expected: 'one at least, where one starts now',
    source: 'RFC 9019 4.1; docs/deployment-profile.md',
  };
  if (securityVersion <= unit.state.floors.securityVersion) {
    trace.holds(question, 'the same as now: the security floor stays, and lists stop no start');
    return;
  }
  const starts = unit.startable?.(securityVersion);
  if (!starts) {
    trace.lacks(question, 'no flash at hand to verify them');
    return;
  }
  const { before, after } = starts;
  const found = before
    ? `${after ? 'one' : 'none'} with security version ${securityVersion}`
    : 'none starts now either';
  trace.require(!before || after, 'trust-update-strands', question, found);
}
