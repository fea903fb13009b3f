import type { Manifest } from '../../suit/index.ts';
import type { PolicySigner } from '../policy.ts';
import { oversteppingOf } from '../rights.ts';
import type { UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';

const SOURCE = 'draft-ietf-suit-manifest 9; RFC 9124 4.3.13';

/**
 * The end of step 4: whether the rights of those who vouch cover every command that changes or starts a component.
 * Nothing is asked where the record has no access control list. draft-ietf-suit-manifest section 9.
 */
export function judgeAccess(
  trace: Trace,
  manifest: Manifest,
  signers: readonly PolicySigner[],
  { record }: UnitView,
): void {
  if (!record.rights) return;
  const who = () =>
    signers.map(({ role, fingerprint }) => `${role ?? 'no role'}, key ${fingerprint}`).join('; ');
  const { component, command } = oversteppingOf(record.rights, signers, manifest);
  trace.require(component === undefined, 'component-not-permitted', {
    what: 'components that the signers may change or start',
    expected: () => `all that the manifest does, by ${who()}`,
    found: component === undefined ? 'so' : `no right to ${component}`,
    source: SOURCE,
  });
  trace.require(command === undefined, 'command-not-permitted', {
    what: 'commands that the signers may give',
    expected: () => `all that the manifest holds, by ${who()}`,
    found: command === undefined ? 'so' : `no right to ${command}`,
    source: SOURCE,
  });
}
