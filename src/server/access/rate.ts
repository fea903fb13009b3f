/** How often something may happen: `burst` at once, then `perSecond`. */
export interface Rate {
  readonly burst: number;
  readonly perSecond: number;
}

const MOST_CALLERS = 4096;

/** A bucket of tokens for each caller. */
export class RateLimit {
  readonly #buckets = new Map<string, { tokens: number; at: number }>();
  readonly #rate: Rate;
  readonly #now: () => number;

  constructor(rate: Rate, now: () => number) {
    this.#rate = rate;
    this.#now = now;
  }

  /** Takes one token; 0 where there was one, otherwise the whole seconds to wait. */
  take(caller: string): number {
    const now = this.#now();
    const { burst, perSecond } = this.#rate;
    const before = this.#buckets.get(caller) ?? { tokens: burst, at: now };
    const tokens = Math.min(burst, before.tokens + ((now - before.at) / 1000) * perSecond);
    this.#buckets.delete(caller);
    if (this.#buckets.size >= MOST_CALLERS) this.#buckets.delete(this.#buckets.keys().next().value!);
    this.#buckets.set(caller, { tokens: Math.max(0, tokens - 1), at: now });
    return tokens >= 1 ? 0 : Math.ceil((1 - tokens) / perSecond);
  }

  /** Gives one token back: what happened was none of what is limited. */
  give(caller: string): void {
    const bucket = this.#buckets.get(caller);
    if (bucket) bucket.tokens = Math.min(this.#rate.burst, bucket.tokens + 1);
  }
}
