/** Signatures of HSS/LMS by somebody without the key, each of which a verifier with a step left out might take. */
import { concat } from '../../src/bytes/index.ts';
import { digitsOf, lastStep, messageHash, walkChains } from '../../src/crypto/hss-lms/chains.ts';
import { readHssPublicKey, readLevels, type SignedLevel } from '../../src/crypto/hss-lms/verify.ts';
import { HssTrees, parseHssShape } from '../../src/crypto/index.ts';

/** Two trees of the cheapest shape to verify that leaves an envelope small. */
const SHAPE = parseHssShape('N24/H5/W2,N24/H5/W2')!;

/** Somebody's trees. */
export const treesOf = (secret: number): HssTrees =>
  new HssTrees({ shape: SHAPE, master: new Uint8Array(32).fill(secret) });

function levelsOf(trees: HssTrees, signature: Uint8Array): readonly SignedLevel[] {
  return readLevels(readHssPublicKey(trees.publicKey())!, signature)!;
}

/** A level of a genuine signature with every chain at its end, which anybody can compute: it fits each message, if none is walked. */
function atItsEnds({ key, leaf, signature }: SignedLevel, message: Uint8Array): Uint8Array {
  const { ots: set, identifier } = key;
  const oneTime = { set, identifier, leaf };
  const part = (index: number) => signature.subarray(8 + set.n * index, 8 + set.n * (index + 1));
  const walk = walkChains(oneTime);
  for (const [chain, from] of digitsOf(set, messageHash(oneTime, part(0), message)).entries())
    walk.from(chain, part(chain + 1), from, lastStep(set));
  const forged = signature.slice();
  forged.set(walk.values, 8 + set.n);
  return forged;
}

/** Signatures over `message`, of which the holder of `genuine` never signed one; `seen` over `other` is theirs. */
export function hssForgeries(genuine: HssTrees, other: Uint8Array, message: Uint8Array) {
  const seen = genuine.sign(3n, other);
  const stranger = treesOf(0x66);
  const strangers = stranger.sign(3n, message);
  const count = seen.subarray(0, 4);
  const [top, bottom] = levelsOf(genuine, seen);
  const [, theirs] = levelsOf(stranger, strangers);
  const theirTree = concat(theirs!.key.bytes, theirs!.signature);
  const changed = genuine.sign(4n, message);
  return [
    ['a signature of another message', seen],
    ['a signature by a stranger', strangers],
    ['a signature with its last byte changed', changed.with(-1, changed.at(-1)! ^ 1)],
    ['a tree of a stranger below a genuine signature', concat(count, top!.signature, theirTree)],
    [
      'chains at their ends in both trees',
      concat(count, atItsEnds(top!, bottom!.key.bytes), bottom!.key.bytes, atItsEnds(bottom!, other)),
    ],
  ] as const;
}
