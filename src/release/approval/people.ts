import { fromHex } from '../../bytes/index.ts';
import { type PublicKey, readPublicKey } from '../../crypto/index.ts';
import { type LedgerEntry, listKeys, readLedger, type Workspace } from '../../workspace/index.ts';

/** A person's key, as the ledger vouches for it. */
export interface Person {
  /** Name of the key. */
  readonly name: string;
  /** Whose it is, from the entry of its making. */
  readonly person: string;
  readonly fingerprint: string;
  readonly trial: boolean;
  readonly retired: boolean;
  readonly publicKey: PublicKey;
}

/**
 * The approver with that fingerprint: a key file of this workspace whose making the ledger records under the same name and
 * fingerprint, with the person. Undefined where nobody here has that key.
 */
export function findPerson(
  workspace: Workspace,
  fingerprint: string,
  entries: readonly LedgerEntry[] = readLedger(workspace),
): Person | undefined {
  const description = listKeys(workspace, 'approver').find((key) => key.fingerprint === fingerprint);
  const made = entries.find(
    ({ kind, facts }) =>
      kind === 'approver-made' && facts.key === description?.name && facts.fingerprint === fingerprint,
  );
  const publicKey = description?.spki && readPublicKey(fromHex(description.spki));
  if (!description || !made || !publicKey || typeof made.facts.person !== 'string') return undefined;
  return {
    name: description.name,
    person: made.facts.person,
    fingerprint,
    trial: description.trial,
    retired: entries.some(
      ({ kind, facts }) => kind === 'approver-retired' && facts.key_fingerprint === fingerprint,
    ),
    publicKey,
  };
}

/** Whether two names are one person's: case, form and blanks do not make another one. */
export function samePerson(a: string, b: string): boolean {
  return folded(a) === folded(b);
}

function folded(name: string): string {
  return name.normalize('NFKC').trim().replaceAll(/\s+/gu, ' ').toLowerCase();
}
