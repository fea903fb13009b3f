import { type ByteSource, eachPiece, slice } from '../bytes/index.ts';
import { equalInConstantTime, startSha256 } from '../crypto/index.ts';
import { measure } from './measurement.ts';

/** A sealed image, and the area that it was sealed for. */
export interface ReferenceImage {
  /** The image in clear, from its first byte to its last. */
  readonly content: ByteSource;
  /** SHA-256 as the release record has it, 32 bytes. */
  readonly digest: Uint8Array;
}

/** Whether an image is the one that was sealed, byte for byte. */
export function isSealedImage({ content, digest }: ReferenceImage): boolean {
  const hash = startSha256();
  eachPiece(content, (piece) => hash.update(piece));
  return equalInConstantTime(hash.digest(), digest);
}

/** Part of an area, in bytes from its start. */
export interface AreaPart {
  readonly areaSize: number;
  readonly offset: number;
  readonly length: number;
  readonly erasedValue: number;
}

/**
 * What a genuine unit measures: SHA-256 over nonce and the part of an area that holds the image at its start and nothing
 * but the erased value behind it. 32 bytes.
 */
export function expectedMeasurement(nonce: Uint8Array, image: ByteSource, part: AreaPart): Uint8Array {
  return measure(nonce, slice(padded(image, part), part.offset, part.length));
}

function padded(image: ByteSource, { areaSize, erasedValue }: AreaPart): ByteSource {
  return {
    size: areaSize,
    read(offset, length) {
      const bytes = new Uint8Array(length).fill(erasedValue);
      const held = Math.min(length, Math.max(0, image.size - offset));
      if (held > 0) bytes.set(image.read(offset, held));
      return bytes;
    },
  };
}
