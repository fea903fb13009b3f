import { toHex } from '../../bytes/index.ts';
import { randomBytes, sha256 } from '../../crypto/index.ts';
import type { ContentAlgorithm } from './algorithms.ts';

/** Where keys and IVs come from: `length` random bytes. Anything but the default is for tests. */
export type RandomSource = (length: number) => Uint8Array;

/** How many of the latest draws of each source are remembered. */
const REMEMBERED = 4096;
const drawn = new WeakMap<RandomSource, Set<string>>();

/** A content key that was never used, and an IV for it (draft-ietf-suit-firmware-encryption sections 5 and 11). */
export function freshKeyAndIv(
  algorithm: ContentAlgorithm,
  random: RandomSource = randomBytes,
): { key: Uint8Array; iv: Uint8Array } {
  const key = draw(random, algorithm.keyLength);
  refuseRepetition(random, sha256(key));
  return { key, iv: draw(random, algorithm.ivLength) };
}

/** An IV that was never used with this key: the same pair twice gives both plaintexts away (RFC 9053 section 4.1). */
export function freshIv(
  { algorithm, key }: { algorithm: ContentAlgorithm; key: Uint8Array },
  random: RandomSource = randomBytes,
): Uint8Array {
  const iv = draw(random, algorithm.ivLength);
  refuseRepetition(random, sha256(key, iv));
  return iv;
}

function draw(random: RandomSource, length: number): Uint8Array {
  const bytes = random(length);
  if (bytes.length !== length) {
    throw new Error(`the random source gave ${bytes.length} bytes where ${length} were asked for`);
  }
  return bytes;
}

/** Digests are remembered, not keys. */
function refuseRepetition(random: RandomSource, digest: Uint8Array): void {
  const seen = drawn.get(random) ?? new Set();
  drawn.set(random, seen);
  const id = toHex(digest);
  if (seen.has(id)) {
    throw new Error(
      'the random source gave the same key, or the same IV for one key, a second time: nothing was encrypted, ' +
        'as both messages would lie open; replace the source',
    );
  }
  seen.add(id);
  if (seen.size > REMEMBERED) seen.delete(seen.values().next().value!);
}
