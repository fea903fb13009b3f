import { WorkspaceError } from './errors.ts';
import { appendEntry, type LedgerEntry, type LedgerReference, readLedger } from './ledger.ts';
import { listKeys, readKey } from './registry.ts';
import type { Workspace } from './workspace.ts';

/** Why a key is used no more, and what that is called in a revocation list (RFC 5280 section 5.3.1). */
export const RETIREMENT_REASONS = {
  leaked: 'keyCompromise',
  superseded: 'superseded',
  ended: 'cessationOfOperation',
} as const;
export type RetirementReason = keyof typeof RETIREMENT_REASONS;

/** A key that is used no more. */
export interface Retirement {
  readonly key: string;
  readonly reason: RetirementReason;
  /** RFC 3339, UTC. */
  readonly time: string;
  /** Number of the ledger entry. */
  readonly entry: number;
}

/** A root and what units are to take it for. */
export interface RootStanding {
  readonly name: string;
  /** A spare root stands above releases once another root is retired. */
  readonly rank: 'release' | 'spare';
  /** It was made as a spare: units provisioned before it took another's place hold it as one. */
  readonly spare: boolean;
  readonly retired: boolean;
}

/** Retired keys by name, as the ledger has them. */
export function retirements(
  workspace: Workspace,
  entries: readonly LedgerEntry[] = readLedger(workspace),
): ReadonlyMap<string, Retirement> {
  const retired = entries.flatMap(({ kind, facts, time, number }) =>
    kind === 'key-retired'
      ? [{ key: String(facts.key), reason: facts.reason as RetirementReason, time, entry: number }]
      : [],
  );
  return new Map(retired.map((each) => [each.key, each]));
}

/**
 * Enters in the ledger that a signer or root is used no more: nothing is sealed with it, no unit is provisioned with it.
 * Throws `WorkspaceError` not-found, name-taken where it is retired already, wrong-value for another kind of key.
 */
export function retireKey(
  workspace: Workspace,
  name: string,
  purpose: 'signer' | 'root',
  reason: RetirementReason,
): LedgerReference {
  const description = readKey(workspace, name);
  if (description.purpose !== purpose) {
    throw new WorkspaceError('wrong-value', `${name} is a ${description.purpose} key, not a ${purpose}`, {
      hint: 'see: fieldseal key list',
    });
  }
  if (retirements(workspace).has(name)) {
    throw new WorkspaceError('name-taken', `${name} is retired already; nothing was changed`, {
      hint: 'see: fieldseal ledger list',
    });
  }
  const { fingerprint } = description;
  return appendEntry(workspace, 'key-retired', { key: name, purpose, reason, fingerprint });
}

/** All roots of the workspace and what they are to units that are provisioned now. */
export function rootStandings(workspace: Workspace): RootStanding[] {
  const entries = readLedger(workspace);
  const retired = retirements(workspace, entries);
  const spares = new Set(entries.flatMap(({ facts }) => (facts.spare === true ? [String(facts.key)] : [])));
  const roots = listKeys(workspace, 'root').map(({ name }) => name);
  const replaced = roots.some((name) => retired.has(name));
  return roots.map((name) => ({
    name,
    rank: spares.has(name) && !replaced ? 'spare' : 'release',
    spare: spares.has(name),
    retired: retired.has(name),
  }));
}
