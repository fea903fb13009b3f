import type { ByteSource } from '../../bytes/index.ts';
import {
  formatVersion,
  INVOCATION_PROCEDURE,
  type Manifest,
  type Outcome,
  runSequences,
  type SuitErrorCode,
} from '../../suit/index.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Trace } from '../trace.ts';
import { judgeAccess } from './access.ts';
import type { Circumstances } from './condition-rows.ts';
import type { OpenedEnvelope } from './envelope.ts';
import { Family, type FamilySources } from './family.ts';
import { DONE, hostFor } from './host.ts';
import { identifierText } from './identifier-text.ts';
import { MANIFEST_CODES } from './manifest.ts';
import { judgePurpose } from './purpose.ts';
import type { SignerRules } from './signer-path.ts';

const SOURCE = 'draft-ietf-suit-trust-domains 3, 5.1, 5.6.4';

/** A manifest with dependencies, and where their envelopes are. */
export interface Dependent {
  readonly envelope: OpenedEnvelope['envelope'];
  readonly manifest: Manifest;
  /** Envelopes that came beside it. */
  readonly supplied?: readonly ByteSource[] | undefined;
  /** At start-up: the envelope is a kept one, and holds what was kept of its dependencies. */
  readonly kept?: boolean;
}

/**
 * The end of step 4 for a manifest that depends on others: each is at hand, is the one whose digest was sealed, is
 * authentic by the unit's rules, is understood to its last command, and its signers have a right to all that it does.
 * At install they are brought by dependency-resolution; at start-up they are met as the start meets them. Conditions
 * that exclude this unit are left to step 6. Undefined where there are none.
 */
export function judgeDependencies(
  trace: Trace,
  { envelope: root, manifest, supplied, kept }: Dependent,
  circumstances: Circumstances,
  rules: SignerRules,
): Family | undefined {
  if (manifest.dependencies.size === 0) return undefined;
  const sources: FamilySources = { root, manifest, supplied, kept };
  const family = new Family(sources, circumstances, rules);
  const actions = { fetches: kept !== true, imageMatch: () => DONE, directive: () => DONE };
  const procedure = kept ? INVOCATION_PROCEDURE : 'dependency-resolution';
  const outcome = runSequences(manifest, procedure, hostFor(circumstances, actions, family));
  if (!outcome.ok) refuse(trace, family, outcome);
  else if (!kept) requireMet(trace, manifest, family);
  family.complete();
  trace.facts.dependencies = family.members.map(({ component, envelope, manifest: own, signer }) => ({
    component: identifierText(component.identifier),
    manifestDigest: envelope.digest.bytes,
    sequenceNumber: own.sequenceNumber,
    version: own.setVersion && formatVersion(own.setVersion),
    signer,
  }));
  for (const { component, manifest: own, vouched, envelope } of family.members) {
    trace.holds({
      what: `dependency ${identifierText(component.identifier)}`,
      expected: envelope.digest.bytes,
      found: 'at hand, authentic, and understood',
      source: SOURCE,
    });
    judgePurpose(trace, own, false);
    judgeAccess(trace, own, vouched.signers, circumstances.unit, component.scope);
  }
  return family;
}

/** All of them, before anything else ([TD] section 3). */
function requireMet(trace: Trace, { dependencies }: Manifest, { members }: Family): void {
  const met = members.flatMap(({ component: { index, issuer } }) =>
    issuer.path.length === 0 ? [index] : [],
  );
  trace.require(
    [...dependencies.keys()].every((index) => met.includes(index)),
    'dependencies-not-followed',
    {
      what: 'dependencies that dependency-resolution brings and checks',
      expected: () => [...dependencies.keys()].join(', '),
      found: () => met.join(', ') || 'none',
      source: SOURCE,
    },
  );
}

/** A condition of a shared sequence that does not hold here is no fault: step 6 says so. */
function refuse(trace: Trace, { failure }: Family, { reason, detail, at }: Outcome & { ok: false }): void {
  const question = { what: 'manifests that this one depends on', source: SOURCE };
  if (failure && failure.reason === reason) {
    trace.adopt(failure.lines);
    const expected = 'each at hand, the one whose digest was sealed, and authentic';
    trace.facts.failedAt = at;
    trace.refuse(codeOf(reason), { ...question, expected, found: detail });
  }
  if (at?.section === 'shared') return;
  trace.facts.failedAt = at;
  trace.refuse('dependencies-not-followed', {
    ...question,
    expected: 'fetched, checked and processed by dependency-resolution',
    found: detail,
  });
}

const OWN: readonly string[] = [
  'dependency-missing',
  'dependency-wrong',
  'dependency-not-authentic',
  'dependencies-not-followed',
] satisfies RefusalCode[];

function codeOf(reason: string): RefusalCode {
  if (OWN.includes(reason)) return reason as RefusalCode;
  return MANIFEST_CODES[reason as SuitErrorCode] ?? 'dependency-wrong';
}
