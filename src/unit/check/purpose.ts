import { equal } from '../../bytes/index.ts';
import { type ComponentIdentifier, type Manifest, POLICY_COMPONENT } from '../../suit/index.ts';
import type { Trace } from '../trace.ts';

/**
 * The end of step 4: a signer of trust updates changes the policy component and nothing else, and nobody else changes
 * that one. draft-ietf-suit-manifest section 9, RFC 9124 section 4.3.13.
 */
export function judgePurpose(trace: Trace, manifest: Manifest, isTrust: boolean): void {
  const { targets } = manifest;
  const policies = targets.filter(({ identifier }) => isPolicy(identifier)).length;
  const holds = isTrust ? policies === 1 && targets.length === 1 : policies === 0;
  trace.require(holds, 'component-not-for-purpose', {
    what: 'components, by the purpose of the signer',
    expected: isTrust ? 'the policy component alone: it signs trust updates' : 'any but the policy component',
    found: () => (policies === 0 ? 'others' : policies === targets.length ? 'policy' : 'policy and others'),
    source: 'draft-ietf-suit-manifest 9; RFC 9124 4.3.13; docs/deployment-profile.md',
  });
}

function isPolicy(identifier: ComponentIdentifier): boolean {
  return identifier.length === 1 && equal(identifier[0]!, POLICY_COMPONENT[0]!);
}
