import type { Look } from '../fleet/index.ts';

/** What the looks of a steering process came to, for figures and health. */
export class Looks {
  readonly counts: Record<Look['at'], number> = { steered: 0, another: 0, nothing: 0 };
  /** When the latest one ended; undefined before the first. */
  latest: Date | undefined;
  /** Whether something is announced in the depot of which the broker has not heard. */
  isUnpublished = false;
  /** Whether the depot lacks what is offered. */
  isLacking = false;
  readonly #patience: number;
  #ended = Number.NEGATIVE_INFINITY;

  /** `patience`: seconds after which the next one should have ended. */
  constructor(patience: number) {
    this.#patience = patience;
  }

  /** Notes one that ended. */
  note(look: Look): void {
    this.counts[look.at] += 1;
    this.latest = new Date();
    this.#ended = performance.now();
    if (look.at !== 'steered') return;
    this.isUnpublished = look.unpublished !== undefined;
    this.isLacking = look.lacking !== undefined;
  }

  /** Why nobody may rely on this process now; undefined where all is well. */
  fault(): string | undefined {
    if (!this.latest) return 'it has not looked yet';
    const seconds = (performance.now() - this.#ended) / 1000;
    return seconds <= this.#patience ? undefined : `no look has ended for ${Math.round(seconds)} s`;
  }
}
