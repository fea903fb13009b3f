import { type Certificate, fingerprint } from '../x509/index.ts';
import { WorkspaceError } from './errors.ts';
import { readLedger } from './ledger.ts';
import { readCertificates } from './registry.ts';
import type { Workspace } from './workspace.ts';

/** Kind of the entry by which the ledger records that another author's root was taken in. */
export const AUTHOR_ADDED = 'author-added';

/**
 * The root of another author, as it was taken in: the ledger holds its fingerprint, so that an exchanged file is noticed
 * before it is locked into units. Throws `WorkspaceError` not-found, file-damaged.
 */
export function readAuthor(workspace: Workspace, name: string): Certificate {
  const entry = readLedger(workspace).findLast(
    ({ kind, facts }) => kind === AUTHOR_ADDED && facts.author === name,
  );
  const [root] = entry ? readCertificates(workspace, name) : [];
  if (!entry || !root) {
    throw new WorkspaceError('not-found', `this workspace has no root of an author ${name}`, {
      hint: `take it in: fieldseal author add ${name} --root FILE --fingerprint HEX`,
    });
  }
  if (fingerprint(root.spki) === entry.facts.fingerprint) return root;
  const file = `certificates/${name}.pem`;
  throw new WorkspaceError(
    'file-damaged',
    `${file} is for another key than entry ${entry.number} of the ledger records`,
    { hint: 'restore it from git; nothing was changed', file },
  );
}
