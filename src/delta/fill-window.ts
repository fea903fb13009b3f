import { AddressCache } from './address-cache.ts';
import { ADD, CODE_TABLE, COPY, type Instruction, NOOP, RUN } from './code-table.ts';
import { DeltaError } from './errors.ts';
import type { DeltaWindow } from './window.ts';

/** Bytes of the source segment by offset within it. */
type ReadSegment = (address: number, length: number) => Uint8Array;

/** Executes the instructions of one window into `out`, exactly (RFC 3284 section 6). Throws `DeltaError`. */
export function fillWindow(window: DeltaWindow, readSegment: ReadSegment, out: Uint8Array): void {
  const { instructions } = window;
  const filling = new Filling(window, readSegment, out);
  while (instructions.left > 0) {
    const [first, second] = CODE_TABLE[instructions.byte()]!;
    filling.execute(first);
    if (second.type !== NOOP) filling.execute(second);
  }
  filling.finish();
}

class Filling {
  readonly #cache = new AddressCache();
  #filled = 0;

  constructor(
    readonly window: DeltaWindow,
    readonly readSegment: ReadSegment,
    readonly out: Uint8Array,
  ) {}

  execute(instruction: Instruction): void {
    const { instructions, data } = this.window;
    const start = instructions.offset;
    const size = instruction.size === 0 ? instructions.integer() : instruction.size;
    const left = this.out.length - this.#filled;
    if (size > left) {
      const told = `an instruction makes ${size} bytes where the window has room for ${left}`;
      throw new DeltaError('window-overrun', told, start);
    }
    if (instruction.type === ADD) this.out.set(data.bytes(size), this.#filled);
    if (instruction.type === RUN) this.out.fill(data.byte(), this.#filled, this.#filled + size);
    if (instruction.type === COPY) this.#copy(instruction.mode, size);
    this.#filled += size;
  }

  finish(): void {
    const { data, addresses, instructions } = this.window;
    if (this.#filled !== this.out.length) {
      const told = `the instructions make ${this.#filled} bytes of a window of ${this.out.length}`;
      throw new DeltaError('window-short', told, instructions.end);
    }
    for (const { left, part, offset } of [data, addresses]) {
      if (left > 0) throw new DeltaError('left-over', `${part} has ${left} bytes left over`, offset);
    }
  }

  #copy(mode: number, size: number): void {
    const segmentSize = this.window.segment.size;
    const address = this.#address(mode, segmentSize + this.#filled);
    if (address >= segmentSize) this.#copyWithinWindow(address - segmentSize, size);
    else this.#copyFromSegment(address, size);
  }

  #copyFromSegment(address: number, size: number): void {
    const segmentSize = this.window.segment.size;
    if (address + size > segmentSize) {
      const told = `a copy of ${size} bytes at ${address} crosses the end of the source segment, ${segmentSize}`;
      throw new DeltaError('crossing-copy', told, this.window.addresses.offset);
    }
    this.out.set(this.readSegment(address, size), this.#filled);
  }

  #address(mode: number, here: number): number {
    const { addresses } = this.window;
    const start = addresses.offset;
    const value = AddressCache.isSame(mode) ? addresses.byte() : addresses.integer();
    const address = this.#cache.decode({ mode, value }, here);
    if (address < 0 || address >= here) {
      throw new DeltaError('bad-address', `a copy at ${here} has the address ${address}`, start);
    }
    this.#cache.update(address);
    return address;
  }

  /** A copy may reach into what it makes itself, which repeats a pattern (RFC 3284 section 3). */
  #copyWithinWindow(from: number, size: number): void {
    const period = this.#filled - from;
    for (let done = 0; done < size; ) {
      const piece = Math.min(size - done, period + done);
      this.out.copyWithin(this.#filled + done, from, from + piece);
      done += piece;
    }
  }
}
