const FRESH_FOR_MS = 2_000;

/** What is read from a folder that others write to: read again where it is asked for and no longer fresh. */
export class Renewed<T> {
  readonly #read: () => T | Promise<T>;
  #held: { readonly value: Promise<T>; readonly until: number } | undefined;

  constructor(read: () => T | Promise<T>) {
    this.#read = read;
  }

  /** The value, no older than two seconds. Throws what reading does. */
  get(): Promise<T> {
    const now = performance.now();
    if (this.#held && now < this.#held.until) return this.#held.value;
    const value = Promise.resolve().then(this.#read);
    this.#held = { value, until: now + FRESH_FOR_MS };
    value.catch(() => {
      this.#held = undefined;
    });
    return value;
  }
}
