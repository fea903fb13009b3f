import type { HssPublicKey } from './verify.ts';
import { readLevels } from './verify.ts';

/** The one-time leaf that a signature used, counted over the whole key, and how many the key has. */
export interface SpentLeaf {
  readonly leaf: bigint;
  readonly capacity: bigint;
}

/** Reads the leaf out of a signature by this key; undefined where it is malformed. Whether it verifies is not judged. */
export function leafIn(key: HssPublicKey, signature: Uint8Array): SpentLeaf | undefined {
  return readLevels(key, signature)?.reduce<SpentLeaf>(
    ({ leaf, capacity }, level) => {
      const leaves = 1n << BigInt(level.key.lms.h);
      return { leaf: leaf * leaves + BigInt(level.leaf), capacity: capacity * leaves };
    },
    { leaf: 0n, capacity: 1n },
  );
}
