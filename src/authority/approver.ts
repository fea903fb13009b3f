import type { KeyType } from '../crypto/index.ts';
import { createSigningKey, type KeyPlace, type SecretSource } from '../keys/index.ts';
import { addKey, appendEntry, readKey, requireFreeKeyName, type Workspace } from '../workspace/index.ts';
import { type Attendance, recordCeremony } from './ceremony.ts';
import { AuthorityError } from './error.ts';
import type { MadeSecretKey } from './secret-keys.ts';

/** Most characters of a person's name. */
const LONGEST_NAME = 128;

/** An approver to be made. */
export interface NewApprover extends Attendance {
  readonly name: string;
  /** Whose key it is. One person may have several keys, and still counts once. */
  readonly person: string;
  readonly type: KeyType;
  readonly place: KeyPlace;
}

/**
 * Makes the key with which one person asks for sealings and approves those of others, and enters it with that person in
 * the ledger. It is certified by nobody, so no unit takes anything that it signs. Throws `AuthorityError` person-missing,
 * `KeyError`.
 */
export async function createApprover(
  workspace: Workspace,
  approver: NewApprover,
  secrets: SecretSource,
): Promise<MadeSecretKey> {
  const person = requirePerson(approver.person);
  requireFreeKeyName(workspace, approver.name);
  const { name, type, place } = approver;
  const naming = {
    name,
    purpose: 'approver',
    trial: workspace.kind === 'trial',
    created: workspace.now(),
  } as const;
  const made = await createSigningKey({ ...naming, type, place }, secrets);
  made.key.close();
  addKey(workspace, made.description);
  const extras = { facts: { person }, summary: { person } };
  const ceremony = recordCeremony(
    workspace,
    'approver-made',
    made.description,
    made.evidence,
    approver,
    undefined,
    extras,
  );
  return { description: made.description, ceremony };
}

/** Ends an approver: from the entry in the ledger on, nothing that it signed counts. Throws `AuthorityError`. */
export function retireApprover(workspace: Workspace, name: string, reason: string): void {
  const description = readKey(workspace, name);
  if (description.purpose !== 'approver') {
    throw new AuthorityError(
      'approver-missing',
      `${name} is a ${description.purpose} key and approves nothing.`,
      'Name an approver: fieldseal key list shows them.',
    );
  }
  appendEntry(workspace, 'approver-retired', { key: name, key_fingerprint: description.fingerprint, reason });
}

function requirePerson(text: string): string {
  const person = text.normalize('NFC').trim().replaceAll(/\s+/gu, ' ');
  if (person.length > 0 && person.length <= LONGEST_NAME && !/\p{C}/u.test(person)) return person;
  throw new AuthorityError(
    'person-missing',
    `"${text.replaceAll(/\p{C}/gu, '?')}" does not name a person: 1 to ${LONGEST_NAME} printable characters are taken.`,
    'Say whose key it is, for example --person "Bela Marsh".',
  );
}
