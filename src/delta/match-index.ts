/** Positions of equal beginnings in some bytes: a hash table of chains, latest position first. */
export class MatchIndex {
  readonly #heads: Int32Array;
  readonly #previous: Int32Array;
  readonly #shift: number;

  /** Room for every position in `bytes`, each filed under its next `keyWords` words of four bytes. */
  constructor(
    readonly bytes: Uint8Array,
    readonly keyWords: number,
  ) {
    const bits = Math.min(24, Math.max(8, Math.floor(Math.log2(bytes.length + 1))));
    this.#shift = 32 - bits;
    this.#heads = new Int32Array(2 ** bits).fill(-1);
    this.#previous = new Int32Array(bytes.length);
  }

  /** Files a position behind which the whole key lies. Positions come in ascending order. */
  add(position: number): void {
    if (position + 4 * this.keyWords > this.bytes.length) return;
    const slot = this.#slotOf(this.bytes, position);
    this.#previous[position] = this.#heads[slot]!;
    this.#heads[slot] = position;
  }

  /** Files every position. */
  addAll(): this {
    for (let position = 0; position < this.bytes.length; position++) this.add(position);
    return this;
  }

  /** The latest position that may begin like `bytes` at `position`; negative where there is none. */
  first(bytes: Uint8Array, position: number): number {
    if (position + 4 * this.keyWords > bytes.length) return -1;
    return this.#heads[this.#slotOf(bytes, position)]!;
  }

  /** The next earlier position filed under the same hash; negative behind the last. */
  next(position: number): number {
    return this.#previous[position]!;
  }

  #slotOf(bytes: Uint8Array, position: number): number {
    let hash = 0;
    for (let word = 0, at = position; word < this.keyWords; word++, at += 4) {
      const value = bytes[at]! | (bytes[at + 1]! << 8) | (bytes[at + 2]! << 16) | (bytes[at + 3]! << 24);
      hash = Math.imul(hash ^ value, 0x9e3779b1);
      hash ^= hash >>> 15;
    }
    return Math.imul(hash, 0x85ebca6b) >>> this.#shift;
  }
}
