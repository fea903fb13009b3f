/** A number from 0 up to 1, another one at each call: what decides how a marginal bit reads this time. */
export type Noise = () => number;

/** How one read sees the marginal bits that it meets. */
type Mood = 'programmed' | 'erased' | 'mixed';

/** Picks how a read will see marginal bits: a quarter of the reads see all of them one way, a quarter the other. */
export function moodOf(noise: Noise): Mood {
  const drawn = noise();
  if (drawn < 0.25) return 'programmed';
  return drawn < 0.5 ? 'erased' : 'mixed';
}

/**
 * Overlays an interrupted operation on `bytes`, in place. They hold what was to be programmed, or what was there
 * before the erase. Some bits took hold for good (the same ones until the page is erased), the others are marginal
 * and read either way, from read to read.
 */
export function unsettle(
  bytes: Uint8Array,
  offset: number,
  rule: { erased: number; wear: number; mood: Mood; noise: Noise },
): void {
  for (let i = 0; i < bytes.length; i++) {
    const reach = bytes[i]! ^ rule.erased;
    const settled = settledBits(offset + i, rule.wear);
    const seen =
      rule.mood === 'mixed' ? Math.floor(rule.noise() * 256) : rule.mood === 'programmed' ? 0xff : 0;
    bytes[i] = rule.erased ^ (reach & (settled | seen));
  }
}

/** The bits of one byte that an interrupted operation settled: none in half of the places, else a random half. */
function settledBits(offset: number, wear: number): number {
  let mixed = Math.imul(offset + 1, 0x9e3779b1) ^ Math.imul(wear + 1, 0x85ebca6b);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 0xc2b2ae35);
  mixed ^= mixed >>> 13;
  return mixed & 0x100 ? mixed & 0xff : 0;
}
