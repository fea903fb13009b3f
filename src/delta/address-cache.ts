import { MODE_HERE, MODE_SELF, NEAR_MODES, SAME_MODES } from './code-table.ts';
import { integerSize } from './integer.ts';

const SAME_SIZE = SAME_MODES.count * 256;

/** An address as it is written: one byte in a same mode, else an integer. */
export interface EncodedAddress {
  readonly mode: number;
  readonly value: number;
}

/** Addresses of earlier copies in a window, so that later ones need fewer bytes (RFC 3284 section 5.1). */
export class AddressCache {
  readonly #near = new Array<number>(NEAR_MODES.count).fill(0);
  readonly #same = new Array<number>(SAME_SIZE).fill(0);
  #next = 0;

  /** Whether the mode writes one byte instead of an integer. */
  static isSame(mode: number): boolean {
    return mode >= SAME_MODES.first;
  }

  /** The address behind a written value (RFC 3284 section 5.3), unchecked: it may lie anywhere. */
  decode({ mode, value }: EncodedAddress, here: number): number {
    if (mode === MODE_SELF) return value;
    if (mode === MODE_HERE) return here - value;
    if (AddressCache.isSame(mode)) return this.#same[(mode - SAME_MODES.first) * 256 + value]!;
    return this.#near[mode - NEAR_MODES.first]! + value;
  }

  /** The shortest way to write an address, the lowest mode where several are as short. */
  encode(address: number, here: number): EncodedAddress {
    let best = { mode: MODE_SELF, value: address };
    const consider = (mode: number, value: number) => {
      if (value >= 0 && integerSize(value) < integerSize(best.value)) best = { mode, value };
    };
    consider(MODE_HERE, here - address);
    this.#near.forEach((near, index) => {
      consider(NEAR_MODES.first + index, address - near);
    });
    const slot = address % SAME_SIZE;
    if (integerSize(best.value) > 1 && this.#same[slot] === address) {
      best = { mode: SAME_MODES.first + Math.floor(slot / 256), value: slot % 256 };
    }
    return best;
  }

  /** Remembers the address of a copy (RFC 3284 section 5.1, cache_update). */
  update(address: number): void {
    this.#near[this.#next] = address;
    this.#next = (this.#next + 1) % NEAR_MODES.count;
    this.#same[address % SAME_SIZE] = address;
  }
}
