import { basename } from 'node:path';
import { toHex } from '../bytes/index.ts';
import {
  ALL_EXTENSIONS,
  type Envelope,
  manifestDigestMatches,
  openEnvelope,
  readManifest,
  SuitError,
} from '../suit/index.ts';
import {
  type DeviceClass,
  type FileSource,
  fileSource,
  type JsonObject,
  type Workspace,
} from '../workspace/index.ts';
import type { Offer } from './announcement/offered.ts';
import type { Depot } from './depot/depot.ts';
import { BroadcastError } from './error.ts';
import { releaseOnRecord, requireAsSealed } from './on-record.ts';

/** Files that are offered to a class. */
export interface Offered {
  readonly envelope: string;
  /** Images that lie beside it. */
  readonly images: readonly string[];
}

/**
 * Puts an envelope and its images into the depot, and says what an announcement says of them. Only what stands on record as
 * sealed for the class: units would refuse anything else, all of them at once. Throws `BroadcastError` envelope, image.
 */
export async function offerOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  depot: Depot,
  { envelope, images }: Offered,
): Promise<Offer> {
  const sources = [envelope, ...images].map((path) => fileSource(path));
  try {
    const [source, ...beside] = sources as [FileSource, ...FileSource[]];
    const { opened, sequenceNumber } = readOffered(source, envelope);
    const digest = toHex(opened.digest.bytes);
    const record = manifestDigestMatches(opened)
      ? releaseOnRecord(workspace, deviceClass, digest)
      : undefined;
    if (!record) throw notOnRecord(envelope, deviceClass);
    requireAsSealed(workspace, record, envelope, toHex(await source.sha256()));
    requireImages(record.facts, images, await Promise.all(beside.map((image) => image.sha256())));
    return {
      manifestDigest: opened.digest.bytes,
      sequenceNumber,
      envelope: depot.put(envelope),
      images: images.map((image) => depot.put(image)),
    };
  } finally {
    for (const source of sources) source.close();
  }
}

/** Which of these images belong to a release, by its envelope: several releases may be given with all of their images. */
export async function imagesOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  envelope: string,
  images: readonly string[],
): Promise<string[]> {
  const source = fileSource(envelope);
  try {
    const digest = toHex(readOffered(source, envelope).opened.digest.bytes);
    const known = imageDigests(releaseOnRecord(workspace, deviceClass, digest)?.facts ?? {});
    const own = await Promise.all(images.map(async (path) => known.includes(await sha256Of(path))));
    return images.filter((_, i) => own[i]);
  } finally {
    source.close();
  }
}

/** Throws `BroadcastError` envelope where it cannot be read as one. */
function readOffered(source: FileSource, path: string): { opened: Envelope; sequenceNumber: bigint } {
  try {
    const opened = openEnvelope(source, undefined, ALL_EXTENSIONS);
    const { sequenceNumber } = readManifest(opened.manifest, { extensions: ALL_EXTENSIONS });
    return { opened, sequenceNumber };
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    throw new BroadcastError(
      'envelope',
      `${basename(path)} is no envelope that a unit could read: ${error.message}`,
      'give the envelope that was sealed, and an image that lies beside it as its image',
    );
  }
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

function requireImages(record: JsonObject, paths: readonly string[], digests: readonly Uint8Array[]): void {
  const known = imageDigests(record);
  const stranger = digests.findIndex((digest) => !known.includes(toHex(digest)));
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

function notOnRecord(path: string, { name }: DeviceClass): BroadcastError {
  return new BroadcastError(
    'envelope',
    `${basename(path)} is not on record as sealed for class ${name}: every unit that hears of it would refuse it`,
    `seal it for ${name}, or announce it to the class it was sealed for`,
  );
}
