import { prepareEncrypt, type RepeatableEncryption, SUIT_PAYLOAD_ENCRYPTION } from '../cose/index.ts';
import { startSha256 } from '../crypto/index.ts';
import type { ImageEncryption } from '../suit/index.ts';
import type { DeviceClass, Output } from '../workspace/index.ts';
import type { MadeDelta } from './delta.ts';
import { SealError } from './error.ts';
import { digestsOf, inTurns, type OpenedImage, type PreparedImage, piecesOf } from './images.ts';
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
  /** The ciphertext, written and not yet durable, where it is given out beside the envelope. */
  readonly ciphertext: Output | undefined;
  /** Takes a ciphertext away that was not given out, and wipes the content key. */
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
 * Encrypts an image under a content key and IV of its own, streaming, and hashes it meanwhile on another thread. Where the
 * ciphertext is given out beside the envelope it goes into a hidden file beside its place; otherwise it is made once for its
 * digest, and once more, the same, when it is written into the envelope. Throws `SealError` ciphertext-too-large where a
 * staging area has no room for it; nothing is left behind then.
 */
export async function encrypt(
  request: SealRequest,
  deviceClass: DeviceClass,
  image: OpenedImage,
  recipients: OpenRecipients,
  work: EncryptingWork,
): Promise<DeliveredImage> {
  requireRoom(deviceClass, image);
  const cipher = await prepareEncrypt({
    algorithm: deviceClass.profile.content,
    recipients: recipients.all,
    other: SUIT_PAYLOAD_ENCRYPTION,
  });
  const output = request.detached
    ? request.workspace.files.beginOutput(work.path, { force: request.force ?? false })
    : undefined;
  const discard = () => {
    cipher.forget();
    output?.abandon();
  };
  const digests = digestsOf(image);
  try {
    const delivered = await encryptOnce(image, cipher, output, work);
    return {
      ...image,
      ...(await digests),
      delivered,
      encryption: { info: cipher.info, digest: delivered.digest, sizeBytes: delivered.size },
      ciphertext: output,
      pieces: () => ciphertextOf(image, cipher),
      discard,
    };
  } catch (error) {
    await digests.catch(() => {}); // The file must not be closed under who reads it.
    discard();
    throw error;
  }
}

/** Small enough to stay in the cache of a processor between encrypting, hashing and writing. */
const STRETCH = 1 << 18;

/** While a stretch is encrypted and hashed, another thread writes the one before. */
async function encryptOnce(
  image: OpenedImage,
  cipher: RepeatableEncryption,
  output: Output | undefined,
  { signal, progress }: EncryptingWork,
): Promise<DeliveredImage['delivered']> {
  const hash = startSha256();
  const running = cipher.begin();
  let size = 0;
  let written: Promise<void> | undefined;
  const deliver = async (piece: Uint8Array) => {
    hash.update(piece);
    size += piece.length;
    await written;
    written = output?.writeMeanwhile(piece);
    written?.catch(() => {}); // Whoever waits for it learns of it.
  };
  try {
    for await (const piece of inTurns(piecesOf(image))) {
      signal.throwIfAborted();
      for (const stretch of stretchesOf(piece)) await deliver(running.update(stretch));
      progress({ doing: 'encrypting', doneBytes: size, totalBytes: image.flat.size });
    }
    await deliver(running.final());
  } finally {
    await written;
  }
  return { digest: hash.digest(), size };
}

function* stretchesOf(piece: Uint8Array): Generator<Uint8Array> {
  for (let at = 0; at < piece.length; at += STRETCH) yield piece.subarray(at, at + STRETCH);
}

function* ciphertextOf(image: OpenedImage, cipher: RepeatableEncryption): Generator<Uint8Array> {
  const running = cipher.begin();
  for (const piece of piecesOf(image)) {
    for (const stretch of stretchesOf(piece)) yield running.update(stretch);
  }
  const rest = running.final();
  if (rest.length > 0) yield rest;
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
