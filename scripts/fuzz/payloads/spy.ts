/** Flash under observation: who writes where, and flash that stops taking orders. */

import { type Flash, FlashError } from '../../../src/unit/flash.ts';
import type { FlashSpan, Store } from '../../../src/unit/index.ts';

/** A store in memory that writes down what is written outside the places that are open. */
export class SpyStore implements Store {
  readonly size: number;
  readonly bytes: Uint8Array;
  /** Where writing is allowed, in bytes of the store. */
  open: readonly FlashSpan[] = [];
  writes = 0;
  readonly breaches: string[] = [];

  constructor(content: Uint8Array) {
    this.size = content.length;
    this.bytes = content.slice();
  }

  /** As it was at the beginning of a case. */
  restore(content: Uint8Array): void {
    this.bytes.set(content);
    this.writes = 0;
    this.breaches.length = 0;
    this.open = [];
  }

  read(offset: number, length: number): Uint8Array {
    return this.bytes.slice(offset, offset + length);
  }

  write(offset: number, bytes: Uint8Array): void {
    this.writes++;
    const end = offset + bytes.length;
    const inside = this.open.some((span) => offset >= span.offset && end <= span.offset + span.size);
    if (!inside)
      this.breaches.push(`${bytes.length} bytes written at ${offset}, which is not open to writing`);
    this.bytes.set(bytes, offset);
  }

  flush(): void {}
}

/** Flash that takes so many orders and no more, as worn flash does. */
export class TiredFlash implements Flash {
  readonly size: number;
  readonly geometry: Flash['geometry'];
  /** Where each order went. */
  readonly orders: number[] = [];
  readonly #flash: Flash;
  readonly #most: number;

  constructor(flash: Flash, most: number) {
    this.#flash = flash;
    this.#most = most;
    this.size = flash.size;
    this.geometry = flash.geometry;
  }

  read(offset: number, length: number): Uint8Array {
    return this.#flash.read(offset, length);
  }

  erase(offset: number, length: number): void {
    this.#order(offset);
    this.#flash.erase(offset, length);
  }

  program(offset: number, bytes: Uint8Array): void {
    this.#order(offset);
    this.#flash.program(offset, bytes);
  }

  #order(offset: number): void {
    if (this.orders.length >= this.#most) throw new FlashError('worn-out', offset, `worn out at ${offset}`);
    this.orders.push(offset);
  }
}
