import { toHex } from '../../bytes/index.ts';
import type { ComponentIdentifier } from '../../suit/index.ts';
import { prepareRecord } from '../prepared.ts';
import { readSecurityVersion } from '../security-version.ts';
import type { UnitView } from '../state.ts';
import { Trace } from '../trace.ts';
import { attemptOf } from '../verdict.ts';
import { judgeDependencies } from './dependencies.ts';
import { judgeEnvelope } from './envelope.ts';
import type { Family, Member } from './family.ts';
import { identifierText } from './identifier-text.ts';
import { judgeManifest } from './manifest.ts';

/**
 * The end of step 5 for what a manifest depends on: no older manifest of the same author for a component than the one
 * that belongs to the running image, and no lower security version. A fresh manifest around it would otherwise bring an
 * old one back. draft-ietf-suit-manifest section 8.4.2, RFC 9124 section 4.3.1.
 */
export function judgeFreshDependencies(trace: Trace, family: Family, unit: UnitView): void {
  const board = membersOnBoard(unit);
  for (const member of family.members) {
    const before = board.filter((each) => isSuccessor(member, each));
    for (const each of before) judgeNumber(trace, member, each);
    judgeSecurityVersion(trace, member, before);
  }
}

/** What the manifest of the running image depends on, as its kept envelope says; nothing where that does not verify. */
function membersOnBoard(unit: UnitView): readonly Member[] {
  const kept = unit.state.kept?.();
  if (!kept) return [];
  const { slot, envelope: source } = kept;
  const aside = new Trace(['envelope', 'signer', 'authentication', 'manifest']);
  const attempt = attemptOf(() => {
    const { extensions } = prepareRecord(unit.record);
    const { envelope } = judgeEnvelope(aside, source, extensions);
    const manifest = judgeManifest(aside, envelope, unit.record);
    const rules = { at: undefined, revocation: false };
    return judgeDependencies(
      aside,
      { envelope, manifest, kept: true },
      { unit, slot, at: 'at start' },
      rules,
    );
  });
  return attempt.ok ? (attempt.value?.members ?? []) : [];
}

/** Whether both are of one author, about a component that both list. */
function isSuccessor(next: Member, before: Member): boolean {
  const earlier = new Set(componentsOf(before));
  const sameAuthor = next.signer?.anchor === before.signer?.anchor;
  return sameAuthor && componentsOf(next).some((name) => earlier.has(name));
}

function componentsOf({ manifest, component: { scope } }: Member): string[] {
  const named = (identifier: ComponentIdentifier) => [...scope, ...identifier].map(toHex).join('.');
  return manifest.targets.filter(({ dependency }) => !dependency).map(({ identifier }) => named(identifier));
}

function judgeNumber(trace: Trace, { component, manifest }: Member, before: Member): void {
  const lowest = before.manifest.sequenceNumber;
  trace.require(manifest.sequenceNumber >= lowest, 'sequence-number-too-low', {
    what: `sequence number of the dependency ${identifierText(component.identifier)}`,
    expected: () => `at least ${lowest}, that of the running one`,
    found: manifest.sequenceNumber,
    source: 'draft-ietf-suit-manifest 8.4.2; RFC 9124 4.3.1',
  });
}

function judgeSecurityVersion(trace: Trace, { component, vouched }: Member, before: readonly Member[]): void {
  const version = readSecurityVersion(vouched.headers);
  const what = `security version of the dependency ${identifierText(component.identifier)}`;
  const source = 'docs/deployment-profile.md; RFC 9124 4.2.1';
  if (version === undefined) {
    trace.refuse('security-version-malformed', {
      what,
      expected: 'a whole number',
      found: 'something else',
      source,
    });
  }
  const floor = Math.max(0, ...before.map((each) => readSecurityVersion(each.vouched.headers) ?? 0));
  trace.require(version >= floor, 'security-version-below-floor', {
    what,
    expected: () => `at least ${floor}, that of the running one`,
    found: version,
    source,
  });
}
