import { equal } from '../bytes/index.ts';
import { allAre, type Flash, FlashError } from './flash.ts';
import { bankSize, type FlashSpan } from './flash-layout.ts';
import type { Marks } from './marks.ts';
import {
  commitMark,
  commitMarks,
  decodeRecord,
  encodeRecord,
  type MarksForm,
  recordSize,
} from './marks-record.ts';

/** A record that this unit wrote and that has at least its first commit mark. */
interface FoundRecord {
  readonly marks: Marks;
  readonly round: number;
  readonly position: number;
  /** The first two marks stand. */
  readonly certain: boolean;
  /** All three marks stand: the first two read the same for ever. */
  readonly firm: boolean;
}

/** A position of a bank at which something is programmed. */
interface UsedPosition {
  readonly position: number;
  readonly sealed: Uint8Array;
  /** Which commit marks stand, in order. */
  readonly commits: readonly boolean[];
}

/** How often a full bank is read again before its newest record is taken for what it reads as. */
const REREADS = 64;

/**
 * The unit's marks in the state area, as an append-only journal in two banks that take turns. A record counts from
 * its first commit mark on. What a power cut leaves may read differently each time, but only the last thing that was
 * being written: a mark that stands proves that all before it reads the same for ever. Three rules follow:
 *
 * 1. Nobody acts on a record before its third mark stands and nothing that was cut short could still come to count
 *    (`settle` writes the record once more): it counts at every later start then.
 * 2. A bank is left for the other one, which is erased for it, only when a record in it has its third mark.
 * 3. A full bank is begun again only when no record in it has its second mark. Whatever was acted on has it for
 *    good, so nothing acted on is lost, and the bank left before is intact.
 *
 * So whatever was acted on is found again, however often the power goes away.
 */
export class MarksJournal {
  readonly #flash: Flash;
  readonly #area: FlashSpan;
  readonly #key: Uint8Array;
  readonly #form: MarksForm;
  readonly #capacity: number;
  #marks: Marks | undefined;
  #bank = 0;
  #round = 0;
  /** Where the newest record stands in its bank. */
  #newest = 0;
  /** Where the next record goes; a bank that was never begun is full. */
  #position: number;
  #settled = true;
  /** Records with all commit marks that this unit did not write, or that were changed since. */
  readonly damaged: number;

  /** Reads the journal. `key`: the unit's own marks key, 32 bytes. */
  constructor(flash: Flash, area: FlashSpan, key: Uint8Array, form: MarksForm = 1) {
    this.#form = form;
    this.#flash = flash;
    this.#area = area;
    this.#key = key;
    this.#capacity = Math.floor(bankSize(area.size, flash.geometry) / recordSize(flash.geometry, form).whole);
    this.#position = this.#capacity;
    this.damaged = this.#open();
  }

  /** The newest marks, or undefined where this unit wrote none that still stand. */
  get marks(): Marks | undefined {
    return this.#marks;
  }

  /**
   * A number that rises with every record written and never falls: how far this unit's life has come. 0 where it wrote
   * none that still stands. It orders what the unit says; it counts nothing.
   */
  get age(): number {
    return this.#marks ? this.#round * this.#capacity + this.#newest : 0;
  }

  /** Whether the newest marks will read the same at every later start. */
  get settled(): boolean {
    return this.#settled;
  }

  /** Makes the newest marks read the same for ever; does nothing where they do already. */
  settle(): void {
    if (this.#marks && !this.#settled) this.write(this.#marks);
  }

  /** Writes new marks. When it returns they count, whatever happens next. */
  write(marks: Marks): void {
    for (let turns = 0; turns <= 2; turns++) {
      for (; this.#position < this.#capacity; this.#position++) {
        if (!this.#append(marks)) continue;
        this.#newest = this.#position;
        this.#position++;
        this.#marks = marks;
        this.#settled = true;
        return;
      }
      this.#turn();
    }
    const message = 'no place in the state area takes a record: its flash is worn or broken';
    throw new FlashError('worn-out', this.#area.offset, message);
  }

  #open(): number {
    const banks = [0, 1].map((bank) => this.#read(bank));
    const found = banks.map((used, bank) => ({ bank, ...this.#newestOf(used) }));
    const [newest] = found
      .filter(({ record }) => record)
      .toSorted((a, b) => b.record!.round - a.record!.round);
    if (!newest?.record) return found.reduce((sum, { damaged }) => sum + damaged, 0);
    const { record } = newest;
    this.#bank = newest.bank;
    this.#round = record.round;
    this.#newest = record.position;
    this.#position = newest.end;
    this.#marks = record.marks;
    const nothingBehind = newest.end === record.position + 1;
    this.#settled = record.firm && nothingBehind && this.#isOld(banks[1 - newest.bank]!);
    return newest.damaged;
  }

  /** The newest record of a bank, how many committed ones behind it are not ours, and where the bank ends. */
  #newestOf(used: readonly UsedPosition[]): { record?: FoundRecord; damaged: number; end: number } {
    const end = (used.at(-1)?.position ?? -1) + 1;
    let damaged = 0;
    for (const place of used.toReversed()) {
      const record = this.#decode(place);
      if (record) return { record, damaged, end };
      if (place.commits.every(Boolean)) damaged++;
    }
    return { damaged, end };
  }

  /** Whether a bank that is not the newest one is blank, or was written before it: its first record says so. */
  #isOld(used: readonly UsedPosition[]): boolean {
    const [first] = used;
    return first === undefined || (first.position === 0 && this.#decode(first) !== undefined);
  }

  #read(bank: number): UsedPosition[] {
    const { geometry } = this.#flash;
    const { sealed, whole } = recordSize(geometry, this.#form);
    const bytes = this.#flash.read(this.#offset(bank, 0), this.#capacity * whole);
    const used: UsedPosition[] = [];
    for (let position = 0; position < this.#capacity; position++) {
      const record = bytes.subarray(position * whole, (position + 1) * whole);
      if (allAre(record, geometry.erased_value)) continue;
      used.push({
        position,
        sealed: record.subarray(0, sealed),
        commits: commitMarks(record, geometry, this.#form),
      });
    }
    return used;
  }

  #decode({ position, sealed, commits }: UsedPosition): FoundRecord | undefined {
    const [first, second, third] = commits;
    const held = first ? decodeRecord(sealed, position, this.#key, this.#form) : undefined;
    const certain = second!;
    return held && { ...held, position, certain, firm: certain && third! };
  }

  /** Whether the record stands at the current position; false where that position was not as erased. */
  #append(marks: Marks): boolean {
    const { geometry } = this.#flash;
    const offset = this.#offset(this.#bank, this.#position);
    const place = { round: this.#round, position: this.#position };
    const sealed = encodeRecord(marks, place, this.#key, geometry, this.#form);
    const mark = commitMark(geometry);
    try {
      this.#flash.program(offset, sealed);
      if (!equal(this.#flash.read(offset, sealed.length), sealed)) return false;
      for (let i = 0; i < 3; i++) this.#flash.program(offset + sealed.length + i * mark.length, mark);
      return true;
    } catch (error) {
      if (error instanceof FlashError && error.code === 'not-erased') return false;
      throw error;
    }
  }

  /** Begins a bank: the other one where this one can be left, or this one again. */
  #turn(): void {
    if (this.#marks === undefined || this.#mayLeave()) this.#bank = 1 - this.#bank;
    this.#flash.erase(this.#offset(this.#bank, 0), bankSize(this.#area.size, this.#flash.geometry));
    this.#round += 1;
    this.#position = 0;
  }

  #mayLeave(): boolean {
    for (let i = 0; i < REREADS; i++) {
      const records = this.#read(this.#bank).map((place) => this.#decode(place));
      if (records.some((record) => record?.firm)) return true;
      if (!records.some((record) => record?.certain)) return false;
    }
    return true;
  }

  #offset(bank: number, position: number): number {
    const { geometry } = this.#flash;
    const bankStart = this.#area.offset + bank * bankSize(this.#area.size, geometry);
    return bankStart + position * recordSize(geometry, this.#form).whole;
  }
}
