import { equal, slice } from '../bytes/index.ts';
import { decodeCose } from '../cose/index.ts';
import { ALL_EXTENSIONS, manifestDigestMatches, openEnvelope, readManifest } from '../suit/index.ts';
import type { FileSource } from '../workspace/index.ts';
import { blockVerifies, type Sealer } from './blocks.ts';
import type { DeliveredImage } from './delivered.ts';
import { makesImage } from './delta.ts';
import { SealError } from './error.ts';
import { hashOf } from './images.ts';
import type { IntegratedPayload, ManifestToSeal } from './manifest.ts';

/**
 * Reads a written envelope back from the disk and judges it as a stranger would: its shell, the digest of its
 * manifest, each seal, the manifest with its severed parts, and the digest of each integrated image; a delta is applied as
 * a unit would, and what it makes compared. Throws
 * `SealError` self-check-failed before anything is given out.
 */
export async function checkWritten(
  written: FileSource,
  sealer: Sealer,
  manifest: ManifestToSeal,
  payloads: readonly IntegratedPayload[],
): Promise<void> {
  const envelope = openEnvelope(written, undefined, ALL_EXTENSIONS);
  require(equal(envelope.manifest, manifest.manifest) && manifestDigestMatches(envelope), 'its manifest');
  for (const [i, { bytes }] of envelope.blocks.entries()) {
    require(await blockVerifies(sealer, i, decodeCose(bytes), envelope.digest.encoded), `its seal ${i + 1}`);
  }
  const { sequences, text } = readManifest(envelope.manifest, {
    severed: envelope.severed,
    extensions: ALL_EXTENSIONS,
  });
  for (const part of [...sequences.values(), text]) {
    require(part === undefined || part.state === 'in-place' || part.state === 'attached', 'a severed part');
  }
  for (const { key, digest, image } of payloads) {
    const part = envelope.integrated.get(key);
    require(part !== undefined, 'what lies in it');
    const { offset, length } = part!;
    require(equal(hashOf(written.pieces(offset, length)), digest), 'the image in it');
    require(!image?.delta ||
      makesImage(slice(written, offset, length), image), 'the image that the delta makes');
  }
}

/** Compares what lies around the payloads of a written envelope with what was to be there. Throws `SealError` self-check-failed. */
export function requireWritten(
  written: FileSource,
  pieces: readonly Uint8Array[],
  payloads: readonly IntegratedPayload[],
): void {
  let at = 0;
  for (const [i, piece] of pieces.entries()) {
    require(at + piece.length <= written.size && equal(written.read(at, piece.length), piece), 'its frame');
    at += piece.length + (payloads[i]?.size ?? 0);
  }
  require(at === written.size, 'its length');
}

/** Judges a written detached image. Throws `SealError` self-check-failed. */
export function checkImage(written: FileSource, image: DeliveredImage): void {
  require(equal(hashOf(written.pieces()), image.delivered.digest), 'the detached image');
}

function require(holds: boolean, what: string): void {
  if (holds) return;
  throw new SealError(
    'self-check-failed',
    `what was written was read back, and ${what} is not what was to be sealed; it was thrown away`,
    'the image may have changed meanwhile, or disk or memory are failing: seal again, and check the machine if it recurs',
  );
}
