import { createHash } from 'node:crypto';
import type { Random } from '../fuzz/random.ts';

const EVERY_MS = 250;

/** Sends what is no report of a unit here, or was one before: changed, invented, foreign, repeated. */
export class Forger {
  /** SHA-256 of everything that must never be in the books. */
  readonly forged = new Set<string>();
  readonly answered = new Map<number, number>();
  repeated = 0;
  readonly #random: Random;
  readonly #genuine: readonly Buffer[];
  readonly #foreign: readonly Buffer[];
  #over = false;

  constructor(random: Random, genuine: readonly Buffer[], foreign: readonly Buffer[]) {
    this.#random = random;
    this.#genuine = genuine;
    this.#foreign = foreign;
  }

  /** Goes on until it is ended. */
  async run(intake: string): Promise<void> {
    while (!this.#over) {
      await this.#post(intake, this.#next());
      await new Promise((done) => setTimeout(done, EVERY_MS));
    }
  }

  end(): void {
    this.#over = true;
  }

  #next(): Buffer {
    const [captured] = this.#genuine.length > 0 ? [this.#random.pick(this.#genuine)] : [];
    if (captured && this.#random.chance(0.4)) {
      this.repeated += 1;
      return captured;
    }
    const made = captured && this.#random.chance(0.5) ? this.#changed(captured) : this.#invented();
    this.forged.add(createHash('sha256').update(made).digest('hex'));
    return made;
  }

  #changed(report: Buffer): Buffer {
    const copy = Buffer.from(report);
    copy[this.#random.below(copy.length)]! ^= 1 << this.#random.below(8);
    return copy;
  }

  #invented(): Buffer {
    return this.#random.chance(0.5)
      ? this.#random.pick(this.#foreign)
      : Buffer.from(this.#random.bytes(1 + this.#random.below(900)));
  }

  async #post(intake: string, body: Buffer): Promise<void> {
    try {
      const { status } = await fetch(intake, { method: 'POST', body: new Uint8Array(body) });
      this.answered.set(status, (this.answered.get(status) ?? 0) + 1);
    } catch {
      // The server is gone at times.
    }
  }
}
