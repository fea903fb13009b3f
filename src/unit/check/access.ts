import { toHex } from '../../bytes/index.ts';
import { accessOf, type ComponentIdentifier, type Manifest } from '../../suit/index.ts';
import type { PolicySigner } from '../policy.ts';
import { covers, GUARDED_COMMANDS, isAbout, reaches } from '../rights.ts';
import type { UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';

const GUARDED: ReadonlyMap<number, string> = new Map(
  Object.entries(GUARDED_COMMANDS).map(([name, code]) => [code, name]),
);
const SOURCE = 'draft-ietf-suit-manifest 9; RFC 9124 4.3.13';

/** A command that changes or starts a component, wherever in the manifest it stands. */
interface Deed {
  readonly code: number;
  readonly component: ComponentIdentifier;
}

/**
 * The end of step 4: whether the rights of those who vouch cover every command that changes or starts a component, in
 * every branch of every sequence. Each signer vouches for the whole manifest, so one with the right suffices for a
 * command. Nothing is asked where the record has no access control list. draft-ietf-suit-manifest section 9.
 */
export function judgeAccess(
  trace: Trace,
  manifest: Manifest,
  signers: readonly PolicySigner[],
  { record }: UnitView,
): void {
  if (!record.rights) return;
  const rows = record.rights.filter((row) => signers.some((signer) => isAbout(row, signer)));
  const who = () =>
    signers.map(({ role, fingerprint }) => `${role ?? 'no role'}, key ${fingerprint}`).join('; ');
  const deeds = deedsOf(manifest);
  const strange = deeds.find(({ component }) => !rows.some((row) => reaches(row, component)));
  trace.require(!strange, 'component-not-permitted', {
    what: 'components that the signers may change or start',
    expected: () => `all that the manifest does, by ${who()}`,
    found: () => (strange ? `no right to ${deedText(strange)}` : 'so'),
    source: SOURCE,
  });
  const beyond = deeds.find(
    ({ code, component }) => !rows.some((row) => reaches(row, component) && covers(row, code)),
  );
  trace.require(!beyond, 'command-not-permitted', {
    what: 'commands that the signers may give',
    expected: () => `all that the manifest holds, by ${who()}`,
    found: () => (beyond ? `no right to ${deedText(beyond)}` : 'so'),
    source: SOURCE,
  });
}

function deedText({ code, component }: Deed): string {
  return `${GUARDED.get(code)} on [${component.map((segment) => `h'${toHex(segment)}'`).join(', ')}]`;
}

function deedsOf(manifest: Manifest): Deed[] {
  return accessOf(manifest).components.flatMap(({ identifier: component, commands }) =>
    [...commands].filter((code) => GUARDED.has(code)).map((code) => ({ code, component })),
  );
}
