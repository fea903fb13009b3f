import { equal } from '../bytes/index.ts';
import {
  BOOT_COMMITS,
  type BootEntry,
  bootRecordSize,
  decodeBoot,
  encodeBoot,
  type FoundEntry,
} from './boot-record.ts';
import { allAre, type Flash, FlashError } from './flash.ts';
import { bankSize, type FlashSpan } from './flash-layout.ts';

/** A record that stands, and where. */
interface FoundBoot extends FoundEntry {
  readonly bank: number;
}

/** How often a full bank is read again before its records are taken for what they read as. */
const REREADS = 64;

/**
 * The boot log of a unit: an append-only journal in two banks that take turns, each begun again by an erase when the other
 * one is full. What a power cut leaves may read differently each time: the rules by which a bank is left or begun again
 * are those of the marks (`MarksJournal`), so whatever was told of a start is found again, one bank of records at least,
 * however often the power goes away. Nothing is decided by it: a start goes on where the log takes nothing any more.
 */
export class BootLog {
  readonly #flash: Flash;
  readonly #area: FlashSpan;
  readonly #key: Uint8Array;
  readonly #capacity: number;
  readonly #found: FoundBoot[];
  #bank = 0;
  #round: number;
  #position: number;

  /** Reads the log. `key`: the unit's own marks key, 32 bytes. */
  constructor(flash: Flash, area: FlashSpan, key: Uint8Array) {
    this.#flash = flash;
    this.#area = area;
    this.#key = key;
    this.#capacity = Math.floor(bankSize(area.size, flash.geometry) / bootRecordSize(flash.geometry).whole);
    const banks = [0, 1].map((bank) => this.#read(bank));
    const roundOf = ({ found }: { found: FoundBoot[] }) => found[0]?.round ?? -1;
    this.#found = banks.toSorted((a, b) => roundOf(b) - roundOf(a)).flatMap(({ found }) => found);
    this.#bank = this.#found[0]?.bank ?? 0;
    this.#position = banks[this.#bank]!.end;
    this.#round = this.#found[0]?.round ?? 0;
  }

  /** Records that stand, newest first. */
  get entries(): readonly BootEntry[] {
    return this.#found.map(({ entry }) => entry);
  }

  /** Starts on record so far; 0 where there is none. It never falls, for each record has it. */
  get starts(): number {
    return this.#found[0]?.entry.count ?? 0;
  }

  /** Writes a record. When it returns, it stands. Throws `FlashError` where no place takes it. */
  append(entry: BootEntry): void {
    for (let turns = 0; turns <= 2; turns++) {
      for (; this.#position < this.#capacity; this.#position++) {
        if (!this.#program(entry)) continue;
        this.#position++;
        this.#found.unshift({ entry, round: this.#round, bank: this.#bank, certain: true, firm: true });
        return;
      }
      this.#turn();
    }
    throw new FlashError('worn-out', this.#area.offset, 'no place in the boot log takes a record');
  }

  #turn(): void {
    if (this.#mayLeave()) this.#bank = 1 - this.#bank;
    this.#flash.erase(this.#offset(this.#bank, 0), bankSize(this.#area.size, this.#flash.geometry));
    const kept = this.#found.filter(({ bank }) => bank !== this.#bank);
    this.#found.splice(0, this.#found.length, ...kept);
    this.#round += 1;
    this.#position = 0;
  }

  /** A bank is begun again only where nothing in it was told of; one that is left must be so at every later look. */
  #mayLeave(): boolean {
    for (let i = 0; i < REREADS; i++) {
      const { found } = this.#read(this.#bank);
      if (found.some(({ firm }) => firm)) return true;
      if (!found.some(({ certain }) => certain)) return false;
    }
    return true;
  }

  /** Whether the record stands at the current position; false where that was not as erased. */
  #program(entry: BootEntry): boolean {
    const { geometry } = this.#flash;
    const offset = this.#offset(this.#bank, this.#position);
    const sealed = encodeBoot(entry, this.#round, this.#key, geometry);
    const mark = new Uint8Array(geometry.write_unit).fill(~geometry.erased_value & 0xff);
    try {
      this.#flash.program(offset, sealed);
      if (!equal(this.#flash.read(offset, sealed.length), sealed)) return false;
      for (let i = 0; i < BOOT_COMMITS; i++)
        this.#flash.program(offset + sealed.length + i * mark.length, mark);
      return true;
    } catch (error) {
      if (error instanceof FlashError && error.code === 'not-erased') return false;
      throw error;
    }
  }

  #read(bank: number): { found: FoundBoot[]; end: number } {
    const { geometry } = this.#flash;
    const { whole } = bootRecordSize(geometry);
    const bytes = this.#flash.read(this.#offset(bank, 0), this.#capacity * whole);
    const found: FoundBoot[] = [];
    let end = 0;
    for (let position = 0; position < this.#capacity; position++) {
      const record = bytes.subarray(position * whole, (position + 1) * whole);
      if (allAre(record, geometry.erased_value)) continue;
      end = position + 1;
      const held = decodeBoot(record, this.#key, geometry);
      if (held) found.push({ ...held, bank });
    }
    return { found: found.toReversed(), end };
  }

  #offset(bank: number, position: number): number {
    const { geometry } = this.#flash;
    const start = this.#area.offset + bank * bankSize(this.#area.size, geometry);
    return start + position * bootRecordSize(geometry).whole;
  }
}
