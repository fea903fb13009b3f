import type { ComponentIdentifier, Manifest } from '../../suit/index.ts';
import { prepareRecord } from '../prepared.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances } from './condition-rows.ts';
import type { Family, Member } from './family.ts';
import { passingRoleOf, roleOf } from './host.ts';
import { identifierText } from './identifier-text.ts';

const SOURCE = 'draft-ietf-suit-manifest 6.2, 8.4.5';

/** Whether a manifest and what it depends on list the components of the unit, all of them and no other. */
export function judgeComponents(
  trace: Trace,
  manifest: Manifest,
  circumstances: Circumstances,
  family?: Family,
): void {
  const components = ownComponents(manifest, []);
  const passingRoles = components.map((each) => passingRoleOf(circumstances.unit, each));
  const passing = components.filter((_, i) => passingRoles[i] && passingRoles.indexOf(passingRoles[i]) === i);
  const own = [
    ...prepareRecord(circumstances.unit.record).places.map(({ identifier }) => identifier),
    ...passing,
  ];
  const all = [...components];
  const known = family ? family.members.every((member) => addComponents(member, circumstances, all)) : true;
  trace.require(all.length === own.length, 'component-count-wrong', {
    what: 'number of components',
    expected: own.length,
    found: all.length,
    source: SOURCE,
  });
  trace.require(known && areKnown(all, circumstances), 'component-unknown', {
    what: 'components',
    expected: () => own.map(identifierText).join(', '),
    found: () => all.map(identifierText).join(', '),
    source: SOURCE,
  });
}

/** What a manifest lists that is no envelope of another. */
function ownComponents({ targets }: Manifest, scope: ComponentIdentifier): ComponentIdentifier[] {
  return targets.filter(({ dependency }) => !dependency).map(({ identifier }) => [...scope, ...identifier]);
}

/** Adds what a dependency lists and nobody did before; false where it lists something that the unit does not have. */
function addComponents(
  { manifest, component }: Member,
  circumstances: Circumstances,
  all: ComponentIdentifier[],
): boolean {
  const listed = ownComponents(manifest, component.scope);
  const roles = new Set(all.map((identifier) => roleOf(circumstances, { identifier })));
  for (const identifier of listed)
    if (!roles.has(roleOf(circumstances, { identifier }))) all.push(identifier);
  return areKnown(listed, circumstances);
}

function areKnown(components: readonly ComponentIdentifier[], circumstances: Circumstances): boolean {
  const roles = components.map((identifier) => roleOf(circumstances, { identifier }));
  return roles.every((role) => role !== undefined) && new Set(roles).size === roles.length;
}
