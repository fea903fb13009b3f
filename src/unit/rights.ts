import { equal, fromUtf8, toHex } from '../bytes/index.ts';
import { accessOf, type ComponentIdentifier, type Manifest } from '../suit/index.ts';
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

const GUARDED: ReadonlyMap<number, string> = new Map(
  Object.entries(GUARDED_COMMANDS).map(([name, code]) => [code, name]),
);

/** What a manifest does, wherever in a branch it stands, that no signer has a right to. */
export interface Overstepping {
  /** A command on a component to which no signer has any right; undefined where there is none. */
  readonly component: string | undefined;
  /** A command that no signer may give on its component; undefined where there is none. */
  readonly command: string | undefined;
}

/**
 * Judges every command that changes or starts a component, in every branch of every sequence, by the access control list.
 * Each signer vouches for the whole manifest, so one with the right suffices. draft-ietf-suit-manifest section 9.
 */
export function oversteppingOf(
  rights: readonly SignerRight[],
  signers: readonly PolicySigner[],
  manifest: Manifest,
): Overstepping {
  const rows = rights.filter((row) => signers.some((signer) => isAbout(row, signer)));
  const deeds = accessOf(manifest).components.flatMap(({ identifier, commands }) =>
    [...commands].filter((code) => GUARDED.has(code)).map((code) => ({ code, identifier })),
  );
  const strange = deeds.find(({ identifier }) => !rows.some((row) => reaches(row, identifier)));
  const beyond = deeds.find(
    ({ code, identifier }) => !rows.some((row) => reaches(row, identifier) && covers(row, code)),
  );
  return { component: strange && deedText(strange), command: beyond && deedText(beyond) };
}

function deedText({ code, identifier }: { code: number; identifier: ComponentIdentifier }): string {
  return `${GUARDED.get(code)} on [${identifier.map((segment) => `h'${toHex(segment)}'`).join(', ')}]`;
}

/** Whether a row is about a signer. */
function isAbout(row: SignerRight, signer: PolicySigner): boolean {
  return (
    (row.role === undefined || row.role === signer.role) &&
    (row.fingerprint === undefined || row.fingerprint === signer.fingerprint) &&
    (row.anchor === undefined || row.anchor === signer.anchor)
  );
}

/** Whether a row reaches a component. */
function reaches({ components }: SignerRight, identifier: ComponentIdentifier): boolean {
  return components === undefined || components.some((prefix) => isPrefix(prefix, identifier));
}

/** Whether a row covers a command, by its code. */
function covers({ commands }: SignerRight, code: number): boolean {
  return commands === undefined || commands.some((name) => GUARDED_COMMANDS[name] === code);
}

function isPrefix(prefix: string, identifier: ComponentIdentifier): boolean {
  const segments = prefix.split('/').map(fromUtf8);
  return segments.every((segment, i) => identifier[i] !== undefined && equal(segment, identifier[i]));
}
