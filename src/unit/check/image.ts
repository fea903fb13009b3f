import { type ByteSource, eachPiece } from '../../bytes/index.ts';
import { equalInConstantTime, sha256, startSha256 } from '../../crypto/index.ts';
import type { Trace } from '../trace.ts';
import type { NamedImage } from './fit.ts';

/** Bytes that are read at once. */
const ONE_PIECE = 1 << 20;

/**
 * Step 9: the bytes have exactly the announced length, and their SHA-256 is the sealed one, compared in constant
 * time. Reads the source once, piece by piece. draft-ietf-suit-manifest sections 8.4.8.6 and 8.4.9.2.
 */
export function judgeImage(trace: Trace, image: NamedImage, source: ByteSource): void {
  trace.enter('image');
  trace.require(source.size === image.size, 'image-length-wrong', {
    what: 'length of the image in bytes',
    expected: image.size,
    found: source.size,
    source: 'draft-ietf-suit-manifest 8.4.8.7; RFC 9124 4.3.15',
  });
  compareImage(trace, image, digestOfSource(source));
}

/** The one comparison that step 9 is about. */
export function compareImage(trace: Trace, image: NamedImage, found: Uint8Array): void {
  trace.require(equalInConstantTime(found, image.digest), 'image-digest-wrong', {
    what: 'SHA-256 of the image, compared in constant time',
    expected: image.digest,
    found,
    source: 'draft-ietf-suit-manifest 8.4.9.2',
  });
}

/** SHA-256 over a whole source, read once in pieces. */
export function digestOfSource(source: ByteSource): Uint8Array {
  if (source.size <= ONE_PIECE) return sha256(source.read(0, source.size));
  const hash = startSha256();
  eachPiece(source, (piece) => hash.update(piece), ONE_PIECE);
  return hash.digest();
}
