import { basename } from 'node:path';
import { type ByteSource, slice, toHex } from '../bytes/index.ts';
import { integratedUris, openEnvelope, SuitError } from '../suit/index.ts';
import {
  type DeviceClass,
  type FileSource,
  fileSource,
  listReleases,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import { SealError } from './error.ts';
import { hashOf, openImages, sourcePieces } from './images.ts';
import type { SealRequest } from './request.ts';

/** A release of a class as its record names it. */
export interface NamedRelease {
  readonly sequenceNumber: string;
  readonly version: string;
}

/** An image that units run, and that a delta is made against. */
export interface OpenPrecursor {
  /** The file that it was found in. */
  readonly file: string;
  readonly source: ByteSource;
  /** SHA-256, 32 bytes. */
  readonly digest: Uint8Array;
  /** The release of the class that it belongs to, where one on record has its digest. */
  readonly release: NamedRelease | undefined;
}

/** First byte of tag 107, by which an envelope begins (SUIT manifest section 8.2, Appendix A). */
const ENVELOPE_START = 0xd8;

/**
 * Opens what units run, in the order of the slots: the envelope of an earlier release with its images inside, or the
 * firmware files that it was sealed from. `close` lets the files go. Throws `SealError`, `ImageError`,
 * `WorkspaceError`; nothing is left open then.
 */
export function openPrecursors(
  { workspace, deltaFrom = [], images }: Pick<SealRequest, 'workspace' | 'deltaFrom' | 'images'>,
  deviceClass: DeviceClass,
): { readonly all: OpenPrecursor[]; close(): void } {
  const open: FileSource[] = [];
  const close = () => {
    for (const file of open) file.close();
  };
  try {
    const found =
      inEnvelope(deltaFrom, deviceClass, open) ?? inFirmware(deltaFrom, images, deviceClass, open);
    const all = found.map(({ file, source }) => {
      const digest = hashOf(sourcePieces(source));
      return { file: basename(file), source, digest, release: releaseOf(workspace, deviceClass, digest) };
    });
    return { all, close };
  } catch (error) {
    close();
    throw error;
  }
}

interface Found {
  readonly file: string;
  readonly source: ByteSource;
}

/** The images inside an envelope; undefined where the file is none. */
function inEnvelope(
  files: readonly string[],
  { memory }: DeviceClass,
  open: FileSource[],
): Found[] | undefined {
  const [file] = files;
  if (file === undefined || files.length !== 1) return undefined;
  const source = fileSource(file);
  open.push(source);
  if (source.size === 0 || source.read(0, 1)[0] !== ENVELOPE_START) return undefined;
  const { integrated } = readEnvelope(file, source);
  return integratedUris(memory.shape).map((uri) => {
    const part = integrated.get(uri);
    if (part) return { file, source: slice(source, part.offset, part.length) };
    throw new SealError(
      'precursor-wrong',
      `${file} is an envelope without ${uri}: the image that units run does not lie in it`,
      'give the firmware file that it was sealed from',
    );
  });
}

function readEnvelope(file: string, source: FileSource) {
  try {
    return openEnvelope(source);
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    throw new SealError(
      'precursor-wrong',
      `${file} begins like an envelope and is none: ${error.message}`,
      'give the envelope of the release that units run, or its firmware file',
    );
  }
}

/** Firmware files, read and laid out as those that are sealed are. */
function inFirmware(
  files: readonly string[],
  images: SealRequest['images'],
  deviceClass: DeviceClass,
  open: FileSource[],
): Found[] {
  requireCount(files, deviceClass);
  const inputs = files.map((path) => ({ path, format: images[0]?.format }));
  return openImages(deviceClass, inputs).map(({ file, flat, input }) => {
    open.push(file);
    return { file: input.path, source: flat.source };
  });
}

function requireCount(files: readonly string[], { name, memory }: DeviceClass): void {
  const wanted = memory.shape === 'linked' ? 2 : 1;
  if (files.length === wanted) return;
  throw new SealError(
    'precursor-wrong',
    `units of class ${name} run ${wanted === 2 ? 'one of two images, one for each slot' : 'one image'}; ${files.length} file(s) were given`,
    wanted === 2
      ? 'give the envelope of the release that they run, or --delta-from once for each slot'
      : 'give --delta-from once',
  );
}

/** The latest release of a class with an image of this digest. */
function releaseOf(
  workspace: Workspace,
  { name }: DeviceClass,
  digest: Uint8Array,
): NamedRelease | undefined {
  const wanted = toHex(digest);
  const numbers = listReleases(workspace, name).map((path) => path.split('/').at(-1)!);
  for (const number of numbers.toSorted((a, b) => (BigInt(a) > BigInt(b) ? -1 : 1))) {
    const { facts } = readRecord(workspace, 'releases', [name, number]);
    const images = facts.images as unknown as readonly { readonly digest: string }[];
    if (images.some((image) => image.digest === wanted))
      return { sequenceNumber: number, version: String(facts.version) };
  }
  return undefined;
}
