/** Pseudo-random numbers that a seed repeats: for choosing test cases, never for keys. */
export class Random {
  #a: number;
  #b: number;
  #c: number;
  #counter = 1;

  /** The same words and numbers give the same sequence. */
  constructor(...seed: readonly (string | number)[]) {
    this.#a = 0x9e3779b9;
    this.#b = 0x243f6a88;
    this.#c = 0xb7e15162;
    for (const word of seed) this.#take(String(word));
    for (let i = 0; i < 12; i++) this.next();
  }

  #take(text: string): void {
    for (let i = 0; i < text.length; i++) {
      this.#a = Math.imul(this.#a ^ text.charCodeAt(i), 0x01000193);
      this.next();
    }
    this.next();
  }

  /** 32 bits, by the generator sfc32 (public domain). */
  next(): number {
    const sum = (this.#a + this.#b + this.#counter) | 0;
    this.#counter = (this.#counter + 1) | 0;
    this.#a = this.#b ^ (this.#b >>> 9);
    this.#b = (this.#c + (this.#c << 3)) | 0;
    this.#c = ((this.#c << 21) | (this.#c >>> 11)) + sum;
    return sum >>> 0;
  }

  /** A whole number from 0, below `bound`. */
  below(bound: number): number {
    return Math.floor((this.next() / 2 ** 32) * bound);
  }

  /** True with this probability. */
  chance(probability: number): boolean {
    return this.next() < probability * 2 ** 32;
  }

  pick<T>(choices: readonly T[]): T {
    return choices[this.below(choices.length)]!;
  }

  bytes(length: number): Uint8Array {
    return Uint8Array.from({ length }, () => this.next() & 0xff);
  }

  /** Numbers at which parsers err: around powers of two and length forms. */
  number(): bigint {
    const power = 1n << BigInt(this.below(65));
    switch (this.below(4)) {
      case 0:
        return BigInt(this.below(32));
      case 1:
        return BigInt(this.next());
      case 2:
        return power - 1n;
      default:
        return power > 2n ** 63n ? power - 1n : power + BigInt(this.below(2));
    }
  }
}
