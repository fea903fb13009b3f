/** Holds the latest message only: what comes while an earlier one is acted on takes its place, however much comes. */
export class Latest {
  #message: Uint8Array | undefined;
  #wake: (() => void) | undefined;

  put(message: Uint8Array): void {
    this.#message = message;
    this.#wake?.();
  }

  /** The message, once there is one; undefined once `over`. */
  async next(over: AbortSignal): Promise<Uint8Array | undefined> {
    if (over.aborted) return undefined;
    if (!this.#message) {
      await new Promise<void>((resolve) => {
        const wake = () => {
          over.removeEventListener('abort', wake);
          resolve();
        };
        this.#wake = wake;
        over.addEventListener('abort', wake);
      });
      if (over.aborted) return undefined;
    }
    const message = this.#message;
    this.#message = undefined;
    return message;
  }
}
