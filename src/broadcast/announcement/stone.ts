import type { Announcement } from './announcement.ts';
import type { Offer } from './offered.ts';

/**
 * What a unit takes next of what is offered: the first stepping stone above what it runs, else the offer. `runs`: the
 * sequence number of what it runs and kept; undefined where it runs nothing yet, and needs no stepping stone.
 */
export function nextOffer(
  { offer, steppingStones = [] }: Pick<Announcement, 'offer' | 'steppingStones'>,
  runs: bigint | undefined,
): Offer | null {
  const stone =
    runs === undefined ? undefined : steppingStones.find(({ sequenceNumber }) => sequenceNumber > runs);
  return offer && (stone ?? offer);
}
