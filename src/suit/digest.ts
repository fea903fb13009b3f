import { type CborItem, encode } from '../cbor/index.ts';
import { equalInConstantTime, sha256 } from '../crypto/index.ts';
import { SuitError } from './errors.ts';
import { asArray, asBytes, asInteger } from './read.ts';
import { DIGEST_ALGORITHMS } from './tables/index.ts';

/** COSE algorithm id of SHA-256 (RFC 9054 section 2.1), the one that every processor must have. */
export const SHA_256 = -16;

/** A SUIT_Digest ([M] section 10). */
export interface SuitDigest {
  /** COSE algorithm id, a row of `DIGEST_ALGORITHMS`. */
  readonly algorithm: number;
  readonly bytes: Uint8Array;
}

/**
 * Reads a SUIT_Digest: algorithm and bytes, nothing more, of the algorithm's length. Known algorithms that this
 * implementation does not compute pass; whoever compares refuses them. Throws `SuitError`.
 */
export function readDigest(item: CborItem): SuitDigest {
  const parts = asArray(item, 'a digest', 'digest');
  if (parts.length !== 2) {
    throw new SuitError(
      'digest',
      item.start,
      `a digest is [algorithm, bytes]; this one has ${parts.length} parts`,
    );
  }
  const algorithm = asInteger(parts[0]!, 'the digest algorithm', 'digest');
  const bytes = asBytes(parts[1]!, 'the bytes of a digest', 'digest').value;
  const row = DIGEST_ALGORITHMS.get(algorithm);
  if (!row) {
    throw new SuitError(
      'digest-algorithm',
      parts[0]!.start,
      `digest algorithm ${algorithm} is unknown: expected -16, SHA-256`,
    );
  }
  if (bytes.length !== row.lengthBytes) {
    const found = `a ${row.name} digest has ${row.lengthBytes} bytes, this one ${bytes.length}`;
    throw new SuitError('digest', parts[1]!.start, found);
  }
  return { algorithm, bytes };
}

/** As `readDigest`, for a digest that this implementation must be able to compute. */
export function readComputableDigest(item: CborItem): SuitDigest {
  const digest = readDigest(item);
  const row = DIGEST_ALGORITHMS.get(digest.algorithm)!;
  if (row.support === 'runs') return digest;
  throw new SuitError(
    'digest-algorithm',
    item.start,
    `digests by ${row.name} are not computed here: seal again with SHA-256 (-16)`,
  );
}

/** The encoded SUIT_Digest array: 36 bytes for SHA-256. What a detached COSE payload consists of ([M] 8.3). */
export function encodeDigest(digest: SuitDigest): Uint8Array {
  return encode([digest.algorithm, digest.bytes]);
}

/** SHA-256 over the parts in order, as a SUIT_Digest. */
export function digestOf(...parts: readonly Uint8Array[]): SuitDigest {
  return { algorithm: SHA_256, bytes: sha256(...parts) };
}

/** Whether `bytes` hash to the digest, compared in constant time. False for algorithms not computed here. */
export function digestMatches(digest: SuitDigest, bytes: Uint8Array): boolean {
  return digest.algorithm === SHA_256 && equalInConstantTime(digest.bytes, sha256(bytes));
}
