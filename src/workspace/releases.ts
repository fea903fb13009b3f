/** Releases on record. Signatures that were added to one later lie beside its record, each with a record of its own. */
import type { JsonObject } from './canonical.ts';
import { listRecords, readRecord } from './records.ts';
import type { Workspace } from './workspace.ts';

const RELEASE = /\/\d{1,19}$/;

/** Names of the records of all releases, or of one class, as `listRecords` gives them: CLASS/NUMBER. */
export function listReleases(workspace: Workspace, ...className: readonly [] | readonly [string]): string[] {
  return listRecords(workspace, 'releases', ...className).filter((name) => RELEASE.test(name));
}

/** The records of signatures that were added to a release, CLASS/NUMBER, after it was sealed, in order. */
export function addedSignatures(workspace: Workspace, release: string): JsonObject[] {
  const [className] = release.split('/') as [string];
  return listRecords(workspace, 'releases', className)
    .filter((name) => name.startsWith(`${release}-signature-`))
    .map((name) => readRecord(workspace, 'releases', name.split('/')).facts);
}
