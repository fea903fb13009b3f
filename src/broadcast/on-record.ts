import { basename } from 'node:path';
import {
  addedSignatures,
  type DeviceClass,
  type JsonObject,
  listRecords,
  listReleases,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import { BroadcastError } from './error.ts';

/** A release of a class, or a trust update, on record. */
export interface OnRecord {
  /** As `readRecord` takes it, joined by strokes. */
  readonly name: string;
  readonly facts: JsonObject;
}

/** The release, or trust update, of the class that has a manifest of this digest in hexadecimal. */
export function releaseOnRecord(
  workspace: Workspace,
  { name: className }: DeviceClass,
  digest: string,
): OnRecord | undefined {
  const read = (folder: 'releases' | 'trust-updates', names: readonly string[]) =>
    names.map((name) => ({ name, facts: readRecord(workspace, folder, name.split('/')).facts }));
  return [
    ...read('releases', listReleases(workspace, className)),
    ...read('trust-updates', listRecords(workspace, 'trust-updates', className)),
  ].find(({ facts }) => facts.manifest_digest === digest);
}

/**
 * Requires a file, by its SHA-256 in hexadecimal, to be one that was written here, with all of its signatures: a genuine manifest
 * says nothing of what was changed or damaged around it. Throws `BroadcastError` envelope.
 */
export function requireAsSealed(
  workspace: Workspace,
  { name, facts }: OnRecord,
  path: string,
  sha256: string,
): void {
  const written = [facts, ...addedSignatures(workspace, name)].find(
    ({ envelope }) => (envelope as JsonObject).sha256 === sha256,
  );
  if (!written)
    throw new BroadcastError(
      'envelope',
      `${basename(path)} has the manifest of a release on record, but is not the file that was sealed: it was changed or damaged since, and units would refuse it`,
      'give the file as it was written when it was sealed, or when the last signature was added',
    );
  const open = (written.open ?? []) as string[];
  if (open.length > 0)
    throw new BroadcastError(
      'envelope',
      `${basename(path)} is unfinished: units refuse it until it is signed by ${open.join('; ')} too`,
      'have them sign it (fieldseal signature add), and give the file that is written then',
    );
}
