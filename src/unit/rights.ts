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

/** Where a manifest stands among others, and whose components are whose. */
export interface Realm {
  /** What goes before the identifiers of its components. */
  readonly scope: ComponentIdentifier;
  /** Prefixes of the components of each author, by the label of its root. */
  readonly authors: ReadonlyMap<string, { readonly components: readonly ComponentIdentifier[] }>;
}

const ALONE: Realm = { scope: [], authors: new Map() };

/** A command on a component. */
interface Deed {
  readonly code: number;
  readonly identifier: ComponentIdentifier;
  /** Whether the component holds the envelope of another manifest. */
  readonly envelope: boolean;
}

/**
 * Judges every command that changes or starts a component, in every branch of every sequence. Each signer vouches for the
 * whole manifest, so one with the right suffices. A component of another author belongs to its signers alone, and they
 * have no other; `rights`, where a unit has such a list, narrows that further and is the only thing that lets somebody
 * else in. draft-ietf-suit-manifest section 9, draft-ietf-suit-trust-domains section 5.1.
 */
export function oversteppingOf(
  rights: readonly SignerRight[] | undefined,
  signers: readonly PolicySigner[],
  manifest: Manifest,
  realm: Realm = ALONE,
): Overstepping {
  const deeds = accessOf(manifest, realm.scope).components.flatMap(
    ({ index, identifier, commands }): Deed[] => {
      const envelope = manifest.targets[index]!.dependency !== undefined;
      return [...commands]
        .filter((code) => GUARDED.has(code))
        .map((code) => ({ code, identifier, envelope }));
    },
  );
  const may = (deed: Deed, reach: (row: SignerRight) => boolean) =>
    signers.some((signer) => {
      const rows = rights?.filter((row) => isAbout(row, signer) && reach(row));
      return (isOwn(deed, signer, realm) || rows?.some(letsIn)) && rows?.length !== 0;
    });
  const reaching = (deed: Deed) => (row: SignerRight) => reaches(row, deed.identifier);
  const strange = deeds.find((deed) => !may(deed, reaching(deed)));
  const beyond = deeds.find((deed) => !may(deed, (row) => reaching(deed)(row) && covers(row, deed.code)));
  return { component: strange && deedText(strange), command: beyond && deedText(beyond) };
}

/** A row that reaches into another author's realm says whom and what it means; a role is the word of whoever certified it. */
function letsIn({ components, anchor, fingerprint }: SignerRight): boolean {
  return components !== undefined && (anchor ?? fingerprint) !== undefined;
}

/** Whether a component is of the signer's own realm. An envelope in a component speaks for itself: anyone may bring one. */
function isOwn({ identifier, envelope }: Deed, { anchor }: PolicySigner, { authors }: Realm): boolean {
  if (envelope || authors.size === 0) return true;
  const holds = ({ components }: { readonly components: readonly ComponentIdentifier[] }) =>
    components.some((prefix) => startsWith(identifier, prefix));
  const author = authors.get(anchor);
  return author ? holds(author) : ![...authors.values()].some(holds);
}

function deedText({ code, identifier }: Deed): string {
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
  return startsWith(identifier, prefix.split('/').map(fromUtf8));
}

function startsWith(identifier: ComponentIdentifier, prefix: ComponentIdentifier): boolean {
  return prefix.every((segment, i) => identifier[i] !== undefined && equal(segment, identifier[i]));
}
