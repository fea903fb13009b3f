/** What becomes of frames that are sent once to many. */
export interface Arrival {
  /** Chance that a unit got enough of them. */
  readonly enough: number;
  /** Frames that a unit still lacks, on average over all units. */
  readonly lacking: number;
}

/** Chance that a unit gets all of `frames` frames, each lost with chance `loss`: (1 - p)^n. */
export function chanceOfAll(frames: number, loss: number): number {
  return Math.exp(frames * Math.log1p(-loss));
}

/**
 * `sent` frames, each lost with chance `loss` and independently, of which any `needed` suffice: an erasure code without
 * overhead. Real codes need a few more, and real losses come in bursts. Binomial distribution.
 */
export function arrivalOf(sent: number, needed: number, loss: number): Arrival {
  if (loss === 0) return { enough: 1, lacking: 0 };
  const spare = sent - needed;
  const odds = Math.log(loss) - Math.log1p(-loss);
  let logChance = sent * Math.log1p(-loss);
  let enough = 0;
  let lacking = 0;
  for (let lost = 0; lost <= sent; lost++) {
    const chance = Math.exp(logChance);
    if (lost <= spare) enough += chance;
    else {
      const part = (lost - spare) * chance;
      lacking += part;
      // Past the mean the terms only fall: what follows no longer counts.
      if (lost > sent * loss && part < lacking * 1e-15) break;
    }
    logChance += Math.log(sent - lost) - Math.log(lost + 1) + odds;
  }
  return { enough: Math.min(1, enough), lacking };
}
