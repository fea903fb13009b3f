import { setImmediate } from 'node:timers/promises';
import { SUIT_PAYLOAD_ENCRYPTION, startEncrypt } from '../cose/index.ts';
import { startSha256 } from '../crypto/index.ts';
import type { ImageEncryption } from '../suit/index.ts';
import { type DeviceClass, type FileSource, fileSource, type Output } from '../workspace/index.ts';
import type { MadeDelta } from './delta.ts';
import { SealError } from './error.ts';
import { digestsOf, type OpenedImage, type PreparedImage, piecesOf } from './images.ts';
import type { OpenRecipients } from './recipients.ts';
import type { SealProgress, SealRequest } from './request.ts';

/** An image as it travels: as it is, or encrypted. */
export interface DeliveredImage extends PreparedImage {
  /** What units fetch. SHA-256, 32 bytes, and size in bytes. */
  readonly delivered: { readonly digest: Uint8Array; readonly size: number };
  readonly encryption: ImageEncryption | undefined;
  /** Where units that run an earlier image make it out of that. */
  readonly delta?: MadeDelta | undefined;
  /** What units fetch, in order; the bytes of a piece are good until the next is asked for. */
  pieces(): Iterable<Uint8Array>;
  /** The ciphertext, written: what is given out, and durable, where the image is detached. */
  readonly ciphertext: Output | undefined;
  /** Takes a ciphertext away that was not given out. */
  discard(): void;
}

/** An image that travels as it is. */
export function plain(image: PreparedImage): DeliveredImage {
  const delivered = { digest: image.digest, size: image.flat.size };
  return {
    ...image,
    delivered,
    encryption: undefined,
    ciphertext: undefined,
    pieces: () => piecesOf(image),
    discard() {},
  };
}

/** How an image is encrypted: where the ciphertext goes if it is given out, what stops it, who hears of it. */
export interface EncryptingWork {
  readonly path: string;
  readonly signal: AbortSignal;
  readonly progress: (step: SealProgress) => void;
}

/**
 * Encrypts an image under a content key and IV of its own, streaming, into a hidden file beside its place, and hashes it
 * meanwhile on another thread. Throws `SealError` ciphertext-too-large where a staging area has no room for it; nothing is
 * left behind then.
 */
export async function encrypt(
  request: SealRequest,
  deviceClass: DeviceClass,
  image: OpenedImage,
  recipients: OpenRecipients,
  work: EncryptingWork,
): Promise<DeliveredImage> {
  requireRoom(deviceClass, image);
  const output = request.workspace.files.beginOutput(work.path, { force: request.force ?? false });
  const digests = digestsOf(image);
  try {
    const encryption = await encryptInto(deviceClass, image, recipients, output, work);
    if (request.detached) output.settle();
    const source = fileSource(output.partPath);
    return {
      ...image,
      ...(await digests),
      delivered: { digest: encryption.digest, size: encryption.sizeBytes },
      encryption,
      ciphertext: output,
      pieces: () => source.pieces(),
      discard: () => discard(source, output),
    };
  } catch (error) {
    await digests.catch(() => {}); // The file must not be closed under who reads it.
    output.abandon();
    throw error;
  }
}

/** Bytes between two breaths, in which prompts and timers get their turn. */
const BREATH = 1 << 24;

async function encryptInto(
  { profile }: DeviceClass,
  image: OpenedImage,
  recipients: OpenRecipients,
  output: Output,
  { signal, progress }: EncryptingWork,
): Promise<ImageEncryption> {
  const { content: algorithm } = profile;
  const running = await startEncrypt({
    algorithm,
    recipients: recipients.all,
    other: SUIT_PAYLOAD_ENCRYPTION,
  });
  const hash = startSha256();
  let doneBytes = 0;
  const put = (bytes: Uint8Array) => {
    hash.update(bytes);
    output.write(bytes);
    doneBytes += bytes.length;
  };
  let breath = BREATH;
  for (const piece of piecesOf(image)) {
    if (doneBytes >= breath) {
      await setImmediate();
      breath += BREATH;
    }
    signal.throwIfAborted();
    put(running.update(piece));
    progress({ doing: 'encrypting', doneBytes, totalBytes: image.flat.size });
  }
  put(running.final());
  return { info: running.info, digest: hash.digest(), sizeBytes: doneBytes };
}

function requireRoom({ name, memory, profile }: DeviceClass, { flat }: OpenedImage): void {
  const staging = memory.slots[1]!;
  const size = flat.size + profile.content.tagLength;
  if (memory.shape !== 'staged' || size <= staging.size) return;
  throw new SealError(
    'ciphertext-too-large',
    `the encrypted image has ${size} bytes with its tag, and the staging area of class ${name} holds ${staging.size}`,
    'make the image smaller, or the staging area larger, or choose a profile whose encryption adds no tag',
  );
}

function discard(source: FileSource, output: Output): void {
  source.close();
  output.abandon();
}
