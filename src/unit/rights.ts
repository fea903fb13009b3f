import { equal, fromUtf8 } from '../bytes/index.ts';
import type { ComponentIdentifier } from '../suit/index.ts';
import type { PolicySigner } from './policy.ts';

/** Directives that change or start a component, by their codes; whoever gives one needs the right to. */
export const GUARDED_COMMANDS = {
  'process-dependency': 11,
  write: 18,
  fetch: 21,
  copy: 22,
  invoke: 23,
  swap: 31,
  unlink: 33,
} as const;
export type GuardedCommand = keyof typeof GUARDED_COMMANDS;

/**
 * One row of the access control list: what a signer may have done (draft-ietf-suit-manifest section 9). What is left
 * out limits nothing.
 */
export interface SignerRight {
  /** Role in the signer's certificate. */
  readonly role?: string | undefined;
  /** SHA-256 of the signer's SubjectPublicKeyInfo, lower-case hexadecimal. */
  readonly fingerprint?: string | undefined;
  /** Label of the root at which the signer's path ends. */
  readonly anchor?: string | undefined;
  /** Prefixes of component identifiers: segments in UTF-8, parted by '/'. */
  readonly components?: readonly string[] | undefined;
  readonly commands?: readonly GuardedCommand[] | undefined;
}

/** Whether a row is about a signer. */
export function isAbout(row: SignerRight, signer: PolicySigner): boolean {
  return (
    (row.role === undefined || row.role === signer.role) &&
    (row.fingerprint === undefined || row.fingerprint === signer.fingerprint) &&
    (row.anchor === undefined || row.anchor === signer.anchor)
  );
}

/** Whether a row reaches a component. */
export function reaches({ components }: SignerRight, identifier: ComponentIdentifier): boolean {
  return components === undefined || components.some((prefix) => isPrefix(prefix, identifier));
}

/** Whether a row covers a command, by its code. */
export function covers({ commands }: SignerRight, code: number): boolean {
  return commands === undefined || commands.some((name) => GUARDED_COMMANDS[name] === code);
}

function isPrefix(prefix: string, identifier: ComponentIdentifier): boolean {
  const segments = prefix.split('/').map(fromUtf8);
  return segments.every((segment, i) => identifier[i] !== undefined && equal(segment, identifier[i]));
}
