import { thumbprint, unguessable } from './random.ts';

/** Milliseconds that an unused entry link stays good. */
const GOOD_FOR = 15 * 60_000;

/**
 * One-time entry: a secret that `serve` prints and that opens one session, once. It travels in the fragment of a link,
 * which browsers send to no server and write into no log.
 */
export class Entry {
  #print: string | undefined;
  #until = 0;
  readonly #now: () => number;

  constructor(now: () => number) {
    this.#now = now;
  }

  /** A new secret; the one before is no longer good. */
  renew(): string {
    const secret = unguessable();
    this.#print = thumbprint(secret);
    this.#until = this.#now() + GOOD_FOR;
    return secret;
  }

  /** True once for the secret given out last, while it is good. */
  use(secret: string): boolean {
    const good = this.#print === thumbprint(secret) && this.#now() <= this.#until;
    if (good) this.#print = undefined;
    return good;
  }
}
