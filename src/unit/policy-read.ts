import { SIGNER_ROLE } from '../x509/index.ts';
import { choice, count, fail, hex, list, object, optional, type Reader, text } from './json-read.ts';
import { UNIT_LIMITS } from './limits.ts';
import {
  type AuthenticationPolicy,
  MAXIMUM_DEMANDS,
  POLICY_ALGORITHMS,
  type PolicyAlgorithm,
} from './policy.ts';
import type { UnitRecord } from './record.ts';
import { GUARDED_COMMANDS, type GuardedCommand, type SignerRight } from './rights.ts';

const MAXIMUM_RIGHTS = UNIT_LIMITS.rights.value;
const COMPONENT_PREFIX = /^[^/]+(?:\/[^/]+)*$/;

/** A prefix of component identifiers, as rows and authors name them. */
export const componentPrefix = text({ pattern: COMPONENT_PREFIX, expected: 'segments parted by /' });

const role = text({ pattern: SIGNER_ROLE, maximum: 32, expected: 'a role, such as approver' });
const label = text({});

/** Reads the authentication policy of a unit record. */
export const authenticationPolicy = object({
  rule: choice('any', 'all', 'at_least'),
  count: optional(count(MAXIMUM_DEMANDS)),
  roles: list(
    object({
      role: optional(role),
      algorithm: optional(choice(...(Object.keys(POLICY_ALGORITHMS) as PolicyAlgorithm[]))),
      anchors: optional(list(label, { minimum: 1, maximum: 8 })),
      scope: optional(choice('class', 'vendor')),
    }),
    { minimum: 1, maximum: MAXIMUM_DEMANDS },
  ),
}) as Reader<AuthenticationPolicy>;

/** Reads the access control list of a unit record. */
export const signerRights = list(
  object({
    role: optional(role),
    fingerprint: optional(hex({ minimum: 32, maximum: 32 })),
    anchor: optional(label),
    components: optional(
      list(componentPrefix, {
        minimum: 1,
        maximum: MAXIMUM_RIGHTS,
      }),
    ),
    commands: optional(
      list(choice(...(Object.keys(GUARDED_COMMANDS) as GuardedCommand[])), { minimum: 1, maximum: 8 }),
    ),
  }),
  { minimum: 1, maximum: MAXIMUM_RIGHTS },
) as Reader<SignerRight[]>;

/** Refuses what no payload could ever satisfy, and what would be taken for a protection that it is not. */
export function checkPolicy({ scheme, authentication, rights, anchors }: UnitRecord): void {
  if (scheme === 'symmetric') {
    for (const field of ['authentication', 'rights'] as const) {
      const given = field === 'rights' ? rights : authentication;
      if (given)
        fail([field], 'roles in the symmetric scheme', 'nothing: a shared key tells no signer from another');
    }
  }
  if (authentication) checkCount(authentication);
  const labels = anchors.map((anchor) => anchor.label);
  for (const [i, demand] of (authentication?.roles ?? []).entries()) {
    const unknown = demand.anchors?.find((each) => !labels.includes(each));
    if (unknown !== undefined) fail(['authentication', 'roles', i, 'anchors'], unknown, rootsOf(labels));
  }
  for (const [i, { anchor }] of (rights ?? []).entries()) {
    if (anchor !== undefined && !labels.includes(anchor))
      fail(['rights', i, 'anchor'], anchor, rootsOf(labels));
  }
}

function checkCount({ rule, count: wanted, roles }: AuthenticationPolicy): void {
  const path = ['authentication', 'count'];
  if (rule !== 'at_least') {
    if (wanted !== undefined) fail(path, `a count with the rule ${rule}`, 'no count');
    return;
  }
  if (wanted !== undefined && wanted >= 1 && wanted <= roles.length) return;
  fail(
    path,
    wanted === undefined ? 'missing' : `${wanted}`,
    `a whole number from 1 to ${roles.length}, the roles listed`,
  );
}

function rootsOf(labels: readonly string[]): string {
  return `a root of the unit: ${labels.join(', ') || 'it has none'}`;
}
