/**
 * The desk's server: HTTP over the same calls that the command line makes. Who may ask comes first, even on loopback;
 * what is answered comes from the rooms below.
 */
export { Accounts } from './access/accounts.ts';
export type { Role } from './access/roles.ts';
export { type DeskOptions, type OpenDesk, openDesk } from './desk.ts';
