import { setImmediate } from 'node:timers/promises';
import { SUIT_PAYLOAD_ENCRYPTION, startEncrypt } from '../cose/index.ts';
import { startSha256 } from '../crypto/index.ts';
import type { ImageEncryption } from '../suit/index.ts';
import { type DeviceClass, type FileSource, fileSource, type Output } from '../workspace/index.ts';
import type { MadeDelta } from './delta.ts';
import { SealError } from './error.ts';
import { type PreparedImage, piecesOf } from './images.ts';
import type { OpenRecipients } from './recipients.ts';
import type { SealRequest } from './request.ts';

/** An image as it travels: as it is, or encrypted. */
export interface DeliveredImage extends PreparedImage {
  /** What units fetch. SHA-256, 32 bytes, and size in bytes. */
  readonly delivered: { readonly digest: Uint8Array; readonly size: number };
  readonly encryption: ImageEncryption | undefined;
  /** Where units that run an earlier image make it out of that. */
  readonly delta?: MadeDelta | undefined;
  /** What units fetch, in order; the bytes of a piece are good until the next is asked for. */
  pieces(): Iterable<Uint8Array>;
  /** The ciphertext, written and durable: what is given out where the image is detached. */
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

/**
 * Encrypts an image under a content key and IV of its own, streaming, into a hidden file beside `path`, where it goes if it is
 * given out. Throws `SealError` ciphertext-too-large where a staging area has no room for it; nothing is left behind then.
 */
export async function encrypt(
  request: SealRequest,
  deviceClass: DeviceClass,
  image: PreparedImage,
  recipients: OpenRecipients,
  path: string,
): Promise<DeliveredImage> {
  requireRoom(deviceClass, image);
  const output = request.workspace.files.beginOutput(path, { force: request.force ?? false });
  try {
    const encryption = await encryptInto(request, deviceClass, image, recipients, output);
    const source = fileSource(output.partPath);
    return {
      ...image,
      delivered: { digest: encryption.digest, size: encryption.sizeBytes },
      encryption,
      ciphertext: output,
      pieces: () => source.pieces(),
      discard: () => discard(source, output),
    };
  } catch (error) {
    output.abandon();
    throw error;
  }
}

/** Bytes between two breaths, in which prompts and timers get their turn. */
const BREATH = 1 << 24;

async function encryptInto(
  request: SealRequest,
  { profile }: DeviceClass,
  image: PreparedImage,
  recipients: OpenRecipients,
  output: Output,
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
    put(running.update(piece));
    request.progress?.({ doing: 'encrypting', doneBytes, totalBytes: image.flat.size });
  }
  put(running.final());
  output.settle();
  return { info: running.info, digest: hash.digest(), sizeBytes: doneBytes };
}

function requireRoom({ name, memory, profile }: DeviceClass, { flat }: PreparedImage): void {
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
