import { basename } from 'node:path';
import { SIGNATURE_ADDED } from '../release/index.ts';
import {
  type DeviceClass,
  type JsonObject,
  listRecords,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import { BroadcastError } from './error.ts';

/** The record of a release, or of a trust update, of the class, by its manifest digest in hexadecimal. */
export function releaseOnRecord(
  workspace: Workspace,
  deviceClass: DeviceClass,
  digest: string,
): JsonObject | undefined {
  return sealedAmong(recordsOf(workspace, deviceClass, digest));
}

/** The records of what was sealed with a manifest, and of each signature that was added to it later. */
export function recordsOf(workspace: Workspace, { name }: DeviceClass, digest: string): JsonObject[] {
  return (['releases', 'trust-updates'] as const)
    .flatMap((folder) =>
      listRecords(workspace, folder, name).map(
        (path) => readRecord(workspace, folder, path.split('/')).facts,
      ),
    )
    .filter(({ manifest_digest }) => manifest_digest === digest);
}

/** Which of them is that of the sealing. */
export function sealedAmong(records: readonly JsonObject[]): JsonObject | undefined {
  return records.find(({ format }) => format !== SIGNATURE_ADDED);
}

/**
 * Requires a file, by its SHA-256 in hexadecimal, to be one that was written here, with all of its signatures: a genuine manifest
 * says nothing of what was changed or damaged around it. Throws `BroadcastError` envelope.
 */
export function requireAsSealed(records: readonly JsonObject[], path: string, sha256: string): void {
  const written = records.find(({ envelope }) => (envelope as JsonObject).sha256 === sha256);
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
