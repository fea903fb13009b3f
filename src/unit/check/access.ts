import type { ComponentIdentifier, Manifest } from '../../suit/index.ts';
import type { PolicySigner } from '../policy.ts';
import { type PreparedAuthor, prepareRecord } from '../prepared.ts';
import { oversteppingOf } from '../rights.ts';
import type { UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';

const NOBODY = new Map<string, PreparedAuthor>();
const SOURCE = 'draft-ietf-suit-manifest 9; RFC 9124 4.3.13';

/**
 * The end of step 4: whether the rights of those who vouch cover every command that changes or starts a component.
 * Nothing is asked where the record has neither an access control list nor another author. draft-ietf-suit-manifest section 9.
 */
export function judgeAccess(
  trace: Trace,
  manifest: Manifest,
  signers: readonly PolicySigner[],
  { record }: UnitView,
  scope: ComponentIdentifier = [],
): void {
  const { authors } = prepareRecord(record);
  if (!record.rights && !authors) return;
  const who = () =>
    signers.map(({ role, fingerprint }) => `${role ?? 'no role'}, key ${fingerprint}`).join('; ');
  const { component, command } = oversteppingOf(record.rights, signers, manifest, {
    scope,
    authors: authors ?? NOBODY,
  });
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
