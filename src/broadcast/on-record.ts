import {
  addedSignatures,
  type DeviceClass,
  type JsonObject,
  listRecords,
  listReleases,
  readLedger,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';

/** What a file is that was written here. */
export interface WrittenFile {
  /** Record of the release, or trust update, that it carries. */
  readonly facts: JsonObject;
  /** Signers that units still ask for. */
  readonly open: readonly string[];
}

/** The record of the release, or trust update, of the class that has a manifest of this digest in hexadecimal. */
export function releaseOnRecord(
  workspace: Workspace,
  deviceClass: DeviceClass,
  digest: string,
): JsonObject | undefined {
  return recordsOf(workspace, deviceClass).find(({ facts }) => facts.manifest_digest === digest)?.facts;
}

/**
 * What was written here as a file of this SHA-256, in hexadecimal: an envelope as it was sealed, or as a signature was added to it,
 * or a message that was made of one. A genuine manifest alone says nothing of what was changed or damaged around it.
 */
export function fileOnRecord(
  workspace: Workspace,
  deviceClass: DeviceClass,
  sha256: string,
): WrittenFile | undefined {
  const inside = envelopeInside(workspace, deviceClass, sha256) ?? sha256;
  const isIt = ({ envelope }: JsonObject) => (envelope as JsonObject).sha256 === inside;
  const records = recordsOf(workspace, deviceClass);
  const sealed = records.find(({ facts }) => isIt(facts));
  if (sealed) return { facts: sealed.facts, open: openOf(sealed.facts) };
  for (const { name, facts } of records) {
    const signed = addedSignatures(workspace, name).find(isIt);
    if (signed) return { facts, open: openOf(signed) };
  }
  return undefined;
}

const openOf = ({ open }: JsonObject) => (open ?? []) as string[];

/** SHA-256 of the envelope in an encrypted message, by the ledger. */
function envelopeInside(workspace: Workspace, { name }: DeviceClass, sha256: string): string | undefined {
  const made = readLedger(workspace).find(
    ({ kind, facts }) =>
      kind === 'message-encrypted' && facts.class === name && facts.message_sha256 === sha256,
  );
  return made && String(made.facts.envelope_sha256);
}

function recordsOf(workspace: Workspace, { name: className }: DeviceClass) {
  const read = (folder: 'releases' | 'trust-updates', names: readonly string[]) =>
    names.map((name) => ({ name, facts: readRecord(workspace, folder, name.split('/')).facts }));
  return [
    ...read('releases', listReleases(workspace, className)),
    ...read('trust-updates', listRecords(workspace, 'trust-updates', className)),
  ];
}
