import type { FlashGeometry } from '../image/index.ts';
import { allAre, type Flash, FlashError, PowerCut, requireSpan } from './flash.ts';
import { type PageNote, PageNotes, type Store } from './flash-pages.ts';
import { moodOf, type Noise, unsettle } from './flash-unstable.ts';

/** Where in an operation the power goes away. */
export type CutKind = 'before' | 'middle' | 'after';

/** A scheduled power cut: `after` that many whole operations, at the next one. */
export interface Cut {
  readonly after: number;
  readonly kind: CutKind;
}

/** Where emulated flash lies in its store, in bytes. `notesOffset` is where the notes about its pages begin. */
export interface FlashPlace {
  readonly dataOffset: number;
  readonly size: number;
  readonly notesOffset: number;
}

/** Pages handled at a time, so that memory does not grow with the flash. */
const BATCH_PAGES = 256;

/**
 * NOR flash over a store, with the rules of NOR: pages erase as a whole, a write unit is programmed once after each
 * erase, wear is counted and ends at the endurance. An operation cut in its middle leaves bits that read differently
 * from read to read until the page is erased; the store keeps that, so a later process meets it too. Bytes go to
 * the store before the notes about them: a process that is killed leaves what a power cut could leave.
 */
export class EmulatedFlash implements Flash {
  readonly size: number;
  readonly geometry: FlashGeometry;
  readonly #store: Store;
  readonly #dataOffset: number;
  readonly #notes: PageNotes;
  readonly #noise: Noise;
  readonly #cut: Cut | undefined;
  #operations = 0;
  #dead = false;

  constructor(
    store: Store,
    place: FlashPlace,
    geometry: FlashGeometry,
    options: { readonly noise: Noise; readonly cut?: Cut | undefined },
  ) {
    this.#store = store;
    this.size = place.size;
    this.geometry = geometry;
    this.#dataOffset = place.dataOffset;
    this.#notes = new PageNotes(store, place.notesOffset, geometry);
    this.#noise = options.noise;
    this.#cut = options.cut;
  }

  /** Operations carried out so far: one for each page erased and each write unit programmed. */
  get operations(): number {
    return this.#operations;
  }

  /** Erase cycles of each page in a span, in order. */
  wear(offset: number, length: number): number[] {
    const page = this.geometry.erase_page;
    requireSpan(this.size, offset, length, page);
    return this.#notes.read(offset / page, length / page).map((note) => note.wear);
  }

  read(offset: number, length: number): Uint8Array {
    this.#requirePower();
    requireSpan(this.size, offset, length, 1);
    const bytes = this.#store.read(this.#dataOffset + offset, length);
    if (length > 0) this.#overlay(bytes, offset);
    return bytes;
  }

  erase(offset: number, length: number): void {
    this.#requirePower();
    const page = this.geometry.erase_page;
    requireSpan(this.size, offset, length, page);
    this.#operate(
      length / page,
      (first, count) => this.#erasePages(offset / page + first, count),
      (nth) => this.#interruptErase(offset / page + nth),
    );
  }

  program(offset: number, bytes: Uint8Array): void {
    this.#requirePower();
    const unit = this.geometry.write_unit;
    requireSpan(this.size, offset, bytes.length, unit);
    this.#operate(
      bytes.length / unit,
      (first, count) =>
        this.#programUnits(
          offset + first * unit,
          bytes.subarray(first * unit, (first + count) * unit),
          false,
        ),
      (nth) => this.#programUnits(offset + nth * unit, bytes.subarray(nth * unit, (nth + 1) * unit), true),
    );
  }

  /** Carries out `count` operations, or as many as the scheduled cut allows. */
  #operate(
    count: number,
    perform: (first: number, count: number) => void,
    interrupt: (nth: number) => void,
  ): void {
    const whole = Math.min(count, this.#operationsLeft());
    if (whole > 0) perform(0, whole);
    this.#operations += whole;
    if (!this.#cut || this.#operationsLeft() > 0) return;
    if (whole === count && this.#cut.kind !== 'after') return;
    if (this.#cut.kind === 'middle') interrupt(whole);
    this.#dead = true;
    throw new PowerCut(this.#operations + (this.#cut.kind === 'middle' ? 1 : 0));
  }

  #operationsLeft(): number {
    if (!this.#cut) return Number.POSITIVE_INFINITY;
    return this.#cut.after + (this.#cut.kind === 'after' ? 1 : 0) - this.#operations;
  }

  #requirePower(): void {
    if (this.#dead) throw new PowerCut(this.#operations);
  }

  #overlay(bytes: Uint8Array, offset: number): void {
    const { erase_page: page, erased_value: erased } = this.geometry;
    const mood = moodOf(this.#noise);
    const first = Math.floor(offset / page);
    const notes = this.#notes.read(first, Math.ceil((offset + bytes.length) / page) - first);
    for (const [i, note] of notes.entries()) {
      const start = Math.max(0, (first + i) * page - offset);
      const part = bytes.subarray(start, Math.min(bytes.length, (first + i + 1) * page - offset));
      if (note.fresh && erased !== 0) for (let b = 0; b < part.length; b++) part[b]! ^= erased;
      if (!note.anyUnstable) continue;
      this.#unsettlePart(part, offset + start, note, mood);
    }
  }

  #unsettlePart(part: Uint8Array, offset: number, note: PageNote, mood: ReturnType<typeof moodOf>): void {
    const { erase_page: page, write_unit: unit, erased_value: erased } = this.geometry;
    for (let b = 0; b < part.length; ) {
      const inPage = (offset + b) % page;
      const end = Math.min(part.length, b + unit - (inPage % unit));
      if (note.isUnstable(Math.floor(inPage / unit))) {
        const rule = { erased, wear: note.wear, mood, noise: this.#noise };
        unsettle(part.subarray(b, end), offset + b, rule);
      }
      b = end;
    }
  }

  #erasePages(first: number, count: number): void {
    for (let done = 0; done < count; done += BATCH_PAGES) {
      this.#eraseBatch(first + done, Math.min(BATCH_PAGES, count - done));
    }
  }

  #eraseBatch(first: number, count: number): void {
    const notes = this.#notes.read(first, count);
    for (const [i, note] of notes.entries()) this.#requireEndurance(first + i, note);
    for (const [i, note] of notes.entries()) {
      this.#blankPage(first + i, note.fresh);
      note.wear += 1;
      note.clear();
    }
    this.#notes.write(first, notes);
  }

  /** A page that was never programmed stays a hole in the file; another one is filled with the erased value. */
  #blankPage(index: number, fresh: boolean): void {
    const { erase_page: page, erased_value: erased } = this.geometry;
    const at = this.#dataOffset + index * page;
    if (!fresh) this.#store.write(at, new Uint8Array(page).fill(erased));
    else if (!allAre(this.#store.read(at, page), 0)) this.#store.write(at, new Uint8Array(page));
  }

  #interruptErase(index: number): void {
    const [note] = this.#notes.read(index, 1);
    this.#requireEndurance(index, note!);
    const units = this.geometry.erase_page / this.geometry.write_unit;
    note!.wear += 1;
    note!.setProgrammed(0, units);
    note!.setUnstable(0, units);
    this.#notes.write(index, [note!]);
  }

  #requireEndurance(index: number, note: PageNote): void {
    const { erase_page: page, endurance } = this.geometry;
    if (note.wear < endurance) return;
    const message = `the page at ${index * page} has been erased ${note.wear} times, its whole endurance`;
    throw new FlashError('worn-out', index * page, message);
  }

  #programUnits(offset: number, bytes: Uint8Array, interrupted: boolean): void {
    const { erase_page: page } = this.geometry;
    for (let done = 0; done < bytes.length; ) {
      const room = BATCH_PAGES * page - ((offset + done) % page);
      const part = bytes.subarray(done, done + room);
      this.#programBatch(offset + done, part, interrupted);
      done += part.length;
    }
  }

  #programBatch(offset: number, bytes: Uint8Array, interrupted: boolean): void {
    const { erase_page: page } = this.geometry;
    const first = Math.floor(offset / page);
    const notes = this.#notes.read(first, Math.ceil((offset + bytes.length) / page) - first);
    this.#requireErased(offset, bytes.length, notes);
    this.#takeIntoUse(first, notes);
    this.#store.write(this.#dataOffset + offset, bytes);
    this.#eachNote(offset, bytes.length, notes, (note, unit, count) => {
      note.setProgrammed(unit, count);
      if (interrupted) note.setUnstable(unit, count);
    });
    this.#notes.write(first, notes);
  }

  /** Both the note and the bytes must say "erased": neither is trusted alone. */
  #requireErased(offset: number, length: number, notes: readonly PageNote[]): void {
    const { erase_page: page, write_unit: size } = this.geometry;
    this.#eachNote(offset, length, notes, (note, unit, count, at) => {
      const stored = this.#store.read(this.#dataOffset + at, count * size);
      const erased = note.fresh ? 0 : this.geometry.erased_value;
      if (!note.anyProgrammed && allAre(stored, erased)) return;
      for (let i = 0; i < count; i++) {
        const blank = allAre(stored.subarray(i * size, (i + 1) * size), erased);
        if (note.isProgrammed(unit + i) || !blank) throw notErased(at + i * size, page);
      }
    });
  }

  /**
   * Fresh pages lie in the store as zeros. Before the first program they get their erased value; a process killed in
   * between leaves a page that must be erased, as an interrupted erase does.
   */
  #takeIntoUse(first: number, notes: readonly PageNote[]): void {
    const { erase_page: page, write_unit: unit, erased_value: erased } = this.geometry;
    if (!notes.some((note) => note.fresh)) return;
    const taken = notes.map((note) => note.fresh);
    for (const note of notes.filter((each) => each.fresh)) {
      note.fresh = false;
      note.setProgrammed(0, page / unit);
      note.setUnstable(0, page / unit);
    }
    this.#notes.write(first, notes);
    for (const [i, note] of notes.entries()) {
      if (!taken[i]) continue;
      this.#store.write(this.#dataOffset + (first + i) * page, new Uint8Array(page).fill(erased));
      note.clear();
    }
  }

  /** Hands over each page's note with the write units of a span that lie in it. */
  #eachNote(
    offset: number,
    length: number,
    notes: readonly PageNote[],
    take: (note: PageNote, unit: number, count: number, offset: number) => void,
  ): void {
    const { erase_page: page, write_unit: unit } = this.geometry;
    let at = offset;
    for (const note of notes) {
      const end = Math.min(offset + length, at - (at % page) + page);
      take(note, (at % page) / unit, (end - at) / unit, at);
      at = end;
    }
  }
}

function notErased(offset: number, page: number): FlashError {
  const pageStart = offset - (offset % page);
  const message = `the write unit at ${offset} was programmed since its page at ${pageStart} was erased`;
  return new FlashError('not-erased', offset, message);
}
