import { readRootFile } from '../keys/index.ts';
import {
  AUTHOR_ADDED,
  addCertificates,
  appendEntry,
  requireFreeKeyName,
  type Workspace,
} from '../workspace/index.ts';
import { type Certificate, fingerprint, isTrial } from '../x509/index.ts';
import { wrongKind } from './root.ts';

/**
 * Takes in the root of another author, under which that author signs images of components of its own. `typedFingerprint`
 * is what was read aloud by that author. Throws `KeyError` exchange-..., `AuthorityError` certificate-unsuitable,
 * `WorkspaceError` name-taken.
 */
export function addAuthor(
  workspace: Workspace,
  name: string,
  file: string,
  typedFingerprint: string,
): Certificate {
  const certificate = readRootFile(file, typedFingerprint);
  if (isTrial(certificate) !== (workspace.kind === 'trial')) throw wrongKind(workspace, certificate);
  requireFreeKeyName(workspace, name);
  addCertificates(workspace, name, [certificate.der]);
  appendEntry(workspace, AUTHOR_ADDED, {
    author: name,
    fingerprint: fingerprint(certificate.spki),
    subject: certificate.subject.text,
  });
  return certificate;
}
