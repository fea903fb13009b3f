/** Reports that do not count, for each address: so many at once, and so many a second after that. */
const AT_ONCE = 100;
const EACH_SECOND = 20;
const MOST_ADDRESSES = 10_000;

interface Spent {
  count: number;
  at: number;
}

/**
 * How long somebody is listened to who sends what does not count: signatures cost time to judge. Genuine reports spend
 * nothing, however many come from one gateway.
 */
export class Patience {
  readonly #spent = new Map<string, Spent>();
  readonly #now: () => number;

  /** `now`: milliseconds on a clock that only rises. */
  constructor(now: () => number = () => performance.now()) {
    this.#now = now;
  }

  isLost(address: string): boolean {
    return this.#left(networkOf(address)) <= 0;
  }

  spend(address: string): void {
    const network = networkOf(address);
    const count = AT_ONCE - this.#left(network) + 1;
    this.#spent.delete(network);
    this.#spent.set(network, { count, at: this.#now() });
    if (this.#spent.size > MOST_ADDRESSES) this.#spent.delete(this.#spent.keys().next().value!);
  }

  #left(network: string): number {
    const spent = this.#spent.get(network);
    if (!spent) return AT_ONCE;
    const since = ((this.#now() - spent.at) / 1000) * EACH_SECOND;
    return Math.min(AT_ONCE, AT_ONCE - spent.count + since);
  }
}

/** Whoever has one IPv6 address has its whole /64. */
function networkOf(address: string): string {
  return address.includes(':') && !address.includes('.') ? address.split(':').slice(0, 4).join(':') : address;
}
