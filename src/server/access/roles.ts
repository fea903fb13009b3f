/** What a person or program may do at the desk. Each right is asked for by name, by the routes that need it. */
export const RIGHTS = {
  read: 'look at everything but secrets',
  request: 'ask for a release to be sealed, and seal it',
  approve: "approve another's request",
  operate: 'keys, incidents, fleet, challenges: what changes more than a release',
  certify: 'open a root, for one act, or make one: signers and revocation lists in an incident',
} as const;
export type Right = keyof typeof RIGHTS;

/** Rights of the roles that an account can have (separation of duties; common practice). */
export const ROLES = {
  owner: ['read', 'request', 'approve', 'operate', 'certify'],
  operator: ['read', 'operate'],
  requester: ['read', 'request'],
  approver: ['read', 'approve'],
  reader: ['read'],
} as const satisfies Record<string, readonly Right[]>;
export type Role = keyof typeof ROLES;

/** The names of the roles, for schemas and help texts. */
export const ROLE_NAMES = Object.keys(ROLES) as [Role, ...Role[]];

/** Whether a role has a right. */
export function allows(role: Role, right: Right): boolean {
  return (ROLES[role] as readonly Right[]).includes(right);
}
