/** Longest time that a timer takes. */
const LONGEST_MS = 2 ** 31 - 1;

/** Holds the latest message only: what comes while an earlier one is acted on takes its place, however much comes. */
export class Latest {
  #message: Uint8Array | undefined;
  #wake: (() => void) | undefined;

  put(message: Uint8Array): void {
    this.#message = message;
    this.#wake?.();
  }

  /** Wakes whoever waits, without a message. */
  wake(): void {
    this.#wake?.();
  }

  /** The message, once there is one; undefined after `ms` milliseconds, or when woken without one. */
  async next(ms: number): Promise<Uint8Array | undefined> {
    if (!this.#message && ms > 0) {
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, Math.min(ms, LONGEST_MS));
        this.#wake = () => {
          clearTimeout(timer);
          resolve();
        };
      });
      this.#wake = undefined;
    }
    const message = this.#message;
    this.#message = undefined;
    return message;
  }
}
