/** Lets so many work at once; the others wait their turn, in order. */
export class Gate {
  #free: number;
  readonly #waiting: (() => void)[] = [];

  constructor(most: number) {
    this.#free = most;
  }

  /** Does the work once there is room. */
  async pass<T>(work: () => Promise<T>): Promise<T> {
    if (this.#free > 0) this.#free -= 1;
    else await new Promise<void>((resolve) => this.#waiting.push(resolve));
    try {
      return await work();
    } finally {
      const next = this.#waiting.shift();
      if (next) next();
      else this.#free += 1;
    }
  }
}
