import { basename } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import { type ByteSource, toHex } from '../bytes/index.ts';
import { startSha256 } from '../crypto/index.ts';
import { type FlatImage, imageForSlot } from '../image/index.ts';
import { type DeviceClass, type FileSource, fileSource } from '../workspace/index.ts';
import { SealError } from './error.ts';
import type { ImageInput, SealProgress } from './request.ts';

const PIECE = 1 << 20;

/** An image laid out, with the open file it comes from. */
export interface OpenedImage {
  readonly input: ImageInput;
  readonly file: FileSource;
  readonly flat: FlatImage;
  /** Whether the file, byte for byte, is the image. */
  readonly isFile: boolean;
}

/** An image laid out and hashed. */
export interface PreparedImage extends OpenedImage {
  /** SHA-256 over the flat image, 32 bytes. */
  readonly digest: Uint8Array;
  /** SHA-256 over the file, hexadecimal. */
  readonly fileSha256: string;
}

/**
 * Opens, reads and lays out the images of a release, in slot order. Throws `SealError` images-wrong, `ImageError`,
 * `WorkspaceError`; the files are closed then.
 */
export function openImages(deviceClass: DeviceClass, inputs: readonly ImageInput[]): OpenedImage[] {
  requireCount(deviceClass, inputs);
  const files: FileSource[] = [];
  try {
    return inputs.map((input, i) => {
      const file = fileSource(input.path);
      files.push(file);
      const flat = layOutFor(deviceClass, input, file, i);
      return { input, file, flat, isFile: flat.format === 'raw' && flat.leftOut.length === 0 };
    });
  } catch (error) {
    for (const file of files) file.close();
    throw error;
  }
}

/** Hashes opened images; each is read once, whatever its size. Lets other work go on meanwhile, and stops on `signal`. */
export async function hashImages(
  images: readonly OpenedImage[],
  signal: AbortSignal,
  progress: (step: SealProgress) => void,
): Promise<PreparedImage[]> {
  const totalBytes = images.reduce((sum, { flat }) => sum + flat.size, 0);
  const prepared: PreparedImage[] = [];
  let doneBytes = 0;
  for (const image of images) {
    const hash = startSha256();
    for await (const piece of image.isFile ? image.file.piecesAhead() : inTurns(piecesOf(image))) {
      signal.throwIfAborted();
      hash.update(piece);
      doneBytes += piece.length;
      progress({ doing: 'reading', doneBytes, totalBytes });
    }
    const digest = hash.digest();
    prepared.push({
      ...image,
      digest,
      fileSha256: toHex(image.isFile ? digest : hashOf(image.file.pieces())),
    });
  }
  return prepared;
}

/** The digests of one opened image, made beside other work where the image is its file. */
export async function digestsOf(image: OpenedImage): Promise<Pick<PreparedImage, 'digest' | 'fileSha256'>> {
  const ofFile = await image.file.sha256();
  const digest = image.isFile ? ofFile : hashOf(piecesOf(image));
  return { digest, fileSha256: toHex(ofFile) };
}

/** The same pieces, and before each the turn of prompts and timers. */
export async function* inTurns(pieces: Iterable<Uint8Array>): AsyncGenerator<Uint8Array> {
  for (const piece of pieces) {
    await setImmediate();
    yield piece;
  }
}

/** Refuses to go on where a file was written to since it was opened. */
export function requireUnchanged(
  images: readonly { readonly input: Pick<ImageInput, 'path'>; readonly file: FileSource }[],
): void {
  for (const { input, file } of images) {
    if (file.unchanged()) continue;
    throw new SealError(
      'image-changed',
      `${input.path} was written to while it was being sealed; nothing was sealed`,
      'let the build finish, then seal again',
    );
  }
}

function layOutFor(deviceClass: DeviceClass, input: ImageInput, file: FileSource, index: number): FlatImage {
  const { memory } = deviceClass;
  return imageForSlot(file, memory, {
    format: input.format,
    name: basename(input.path),
    ...(memory.shape === 'linked' && { slotName: memory.slots[index]!.name }),
  });
}

function requireCount({ name, memory }: DeviceClass, inputs: readonly ImageInput[]): void {
  const wanted = memory.shape === 'linked' ? 2 : 1;
  if (inputs.length === wanted) return;
  const slots = memory.slots.map((slot) => slot.name);
  throw new SealError(
    'images-wrong',
    wanted === 2
      ? `class ${name} has linked slots: it needs an image linked for slot ${slots[0]} and one for slot ${slots[1]}`
      : `class ${name} takes one image for either slot; ${inputs.length} were given`,
    wanted === 2 ? 'give the second one with --slot-b FILE' : 'leave --slot-b out',
  );
}

/** An image in order, in pieces; the bytes of one are good until the next is asked for. */
export function piecesOf({ isFile, file, flat }: OpenedImage): Iterable<Uint8Array> {
  return isFile ? file.pieces() : sourcePieces(flat.source);
}

/** The same for any source. */
export function* sourcePieces(source: ByteSource): Generator<Uint8Array> {
  for (let offset = 0; offset < source.size; offset += PIECE) {
    yield source.read(offset, Math.min(PIECE, source.size - offset));
  }
}

/** SHA-256 over pieces, 32 bytes. */
export function hashOf(pieces: Iterable<Uint8Array>): Uint8Array {
  const hash = startSha256();
  for (const piece of pieces) hash.update(piece);
  return hash.digest();
}
