import { basename } from 'node:path';
import { fromHex, toHex } from '../bytes/index.ts';
import { ALL_EXTENSIONS, manifestDigestMatches, openEnvelope, SuitError } from '../suit/index.ts';
import { type DeviceClass, fileSource, type JsonObject, type Workspace } from '../workspace/index.ts';
import type { Offer } from './announcement/offered.ts';
import type { Depot } from './depot/depot.ts';
import { BroadcastError } from './error.ts';
import { fileOnRecord, releaseOnRecord, type WrittenFile } from './on-record.ts';

/** Files that are offered to a class. */
export interface Offered {
  readonly envelope: string;
  /** Images that lie beside it. */
  readonly images: readonly string[];
}

/** What files are that may be offered: their release by its manifest. */
export type Weighed = Pick<Offer, 'manifestDigest' | 'sequenceNumber'>;

/**
 * Whether an envelope, or the encrypted message that was made of one, and its images may be offered: only what was written here for
 * the class, and is finished; units would refuse anything else, all of them at once. Throws `BroadcastError` envelope, image.
 */
export async function weighOffer(
  workspace: Workspace,
  deviceClass: DeviceClass,
  { envelope, images }: Offered,
): Promise<Weighed> {
  const { facts } = await offeredFile(workspace, deviceClass, envelope);
  requireImages(facts, images, await Promise.all(images.map(sha256Of)));
  return {
    manifestDigest: fromHex(String(facts.manifest_digest)),
    sequenceNumber: BigInt(String(facts.sequence_number ?? facts.number)),
  };
}

/** Puts what `weighOffer` lets through into the depot, and says what an announcement says of it. Throws as that does. */
export async function offerOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  depot: Depot,
  offered: Offered,
): Promise<Offer> {
  return {
    ...(await weighOffer(workspace, deviceClass, offered)),
    envelope: depot.put(offered.envelope),
    images: offered.images.map((image) => depot.put(image)),
  };
}

/** Which of these images belong to a release, by its envelope: several releases may be given with all of their images. */
export async function imagesOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  envelope: string,
  images: readonly string[],
): Promise<string[]> {
  const { facts } = await offeredFile(workspace, deviceClass, envelope);
  const known = imageDigests(facts);
  const own = await Promise.all(images.map(async (path) => known.includes(await sha256Of(path))));
  return images.filter((_, i) => own[i]);
}

/** What whoever offers an envelope should know, where its class hides messages on the way and this one is not encrypted. */
export function clearCaution({ name, confidentiality }: DeviceClass, path: string): string | undefined {
  if ((confidentiality !== 'message' && confidentiality !== 'both') || 'unreadable' in manifestOf(path))
    return undefined;
  return `class ${name} hides messages on the way, and this envelope goes in clear: whoever reads along learns version and target; encrypt it first with fieldseal message encrypt`;
}

async function offeredFile(
  workspace: Workspace,
  deviceClass: DeviceClass,
  path: string,
): Promise<WrittenFile> {
  const file = fileOnRecord(workspace, deviceClass, await sha256Of(path));
  if (!file) throw notOnRecord(workspace, deviceClass, path);
  if (file.open.length === 0) return file;
  throw new BroadcastError(
    'envelope',
    `${basename(path)} is unfinished: units refuse it until it is signed by ${file.open.join('; ')} too`,
    'have them sign it (fieldseal signature add), and give the file that is written then',
  );
}

async function sha256Of(path: string): Promise<string> {
  const source = fileSource(path);
  try {
    return toHex(await source.sha256());
  } finally {
    source.close();
  }
}

function imageDigests(record: JsonObject): unknown[] {
  return ((record.images ?? []) as JsonObject[]).flatMap(({ digest, ciphertext }) => [
    digest,
    (ciphertext as JsonObject | null)?.digest,
  ]);
}

function requireImages(record: JsonObject, paths: readonly string[], digests: readonly string[]): void {
  const known = imageDigests(record);
  const stranger = digests.findIndex((digest) => !known.includes(digest));
  if (stranger >= 0)
    throw new BroadcastError(
      'image',
      `${basename(paths[stranger]!)} is not an image of that release: units would refuse it`,
      'give the image that was sealed as it is sent: flat, and encrypted where the release is',
    );
  if (record.detached === true && digests.length === 0)
    throw new BroadcastError(
      'image',
      'the release was sealed without its image inside, and no image is given: units could not fetch it',
      'give it beside the envelope (--image FILE at the command line)',
    );
}

/** Why a file is none that was written here for the class. */
function notOnRecord(workspace: Workspace, deviceClass: DeviceClass, path: string): BroadcastError {
  const name = basename(path);
  const manifest = manifestOf(path);
  if ('unreadable' in manifest)
    return new BroadcastError(
      'envelope',
      `${name} is no envelope that a unit could read: ${manifest.unreadable}`,
      'give the envelope that was sealed, or the message that was made of it here, and an image that lies beside it as its image',
    );
  if (manifest.digest !== undefined && releaseOnRecord(workspace, deviceClass, manifest.digest))
    return new BroadcastError(
      'envelope',
      `${name} has the manifest of a release on record, but is not the file that was sealed: it was changed or damaged since, and units would refuse it`,
      'give the file as it was written when it was sealed, or when the last signature was added',
    );
  return new BroadcastError(
    'envelope',
    `${name} is not on record as sealed for class ${deviceClass.name}: every unit that hears of it would refuse it`,
    `seal it for ${deviceClass.name}, or announce it to the class it was sealed for`,
  );
}

/** Digest of a manifest in hexadecimal; undefined where the envelope states another. */
function manifestOf(path: string): { digest: string | undefined } | { unreadable: string } {
  const source = fileSource(path);
  try {
    const opened = openEnvelope(source, undefined, ALL_EXTENSIONS);
    return { digest: manifestDigestMatches(opened) ? toHex(opened.digest.bytes) : undefined };
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    return { unreadable: error.message };
  } finally {
    source.close();
  }
}
