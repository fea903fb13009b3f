import { equal } from './compare.ts';

interface Entry<V> {
  readonly key: Uint8Array;
  readonly value: V;
}

/**
 * A small map whose keys are bytes, for what has been read before. It holds at most `limit` entries and empties
 * itself rather than grow. Keys are copied, and compared whole: the hash only narrows down.
 */
export class ByteMap<V> {
  readonly #limit: number;
  readonly #buckets = new Map<number, Entry<V>[]>();
  #size = 0;

  constructor(limit: number) {
    this.#limit = limit;
  }

  get(key: Uint8Array): V | undefined {
    return this.#buckets.get(hashOf(key))?.find((entry) => equal(entry.key, key))?.value;
  }

  /** Adds an entry; the key must not be there yet. */
  add(key: Uint8Array, value: V): void {
    if (this.#size >= this.#limit) this.#buckets.clear();
    this.#size = this.#size >= this.#limit ? 1 : this.#size + 1;
    const hash = hashOf(key);
    const entry = { key: new Uint8Array(key), value };
    const bucket = this.#buckets.get(hash);
    if (bucket) bucket.push(entry);
    else this.#buckets.set(hash, [entry]);
  }
}

/** The last four bytes: of keys and signed structures they are as good as random. */
function hashOf(key: Uint8Array): number {
  const end = key.length;
  return (
    ((key[end - 1] ?? 0) << 24) |
    ((key[end - 2] ?? 0) << 16) |
    ((key[end - 3] ?? 0) << 8) |
    (key[end - 4] ?? 0)
  );
}
