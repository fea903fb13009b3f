/** The stand-in unit on emulated flash, at four moments of its life. Each row gets a flash of its own. */
import { sourceOf } from '../../bytes/index.ts';
import {
  beginLife,
  type Cut,
  EmulatedFlash,
  type Flash,
  type FlashSpan,
  memoryStore,
  openUnit,
  type RunningImage,
  type Unit,
  type UnitParts,
  unitFileLayout,
} from '../../unit/index.ts';
import type { Offer } from './parts.ts';

/** `kept`: the predecessor runs. `ready`: the release is installed. `on trial`: it was started. `done`: it was kept. */
export type Moment = 'kept' | 'ready' | 'on trial' | 'done';

/** A unit under power, with its flash. */
export interface Powered {
  readonly unit: Unit;
  readonly flash: EmulatedFlash;
  /** The bytes that the flash lies in. */
  readonly bytes: Uint8Array;
}

export interface PowerOptions {
  readonly running?: RunningImage | undefined;
  readonly cut?: Cut | undefined;
  /** What somebody changes in the flash before the power comes. */
  readonly meanwhile?: (bytes: Uint8Array, field: Field) => void;
  readonly noise?: () => number;
  /** What stands between the unit and its flash. */
  readonly through?: (flash: Flash, field: Field) => Flash;
  /** In place of what the unit was made with. */
  readonly parts?: Partial<UnitParts>;
}

/** Before a rehearsal: the stand-in does not take what it must take. */
export class StandInRefuses extends Error {
  readonly result: ReturnType<Unit['install']> | undefined;

  constructor(what: string, result?: ReturnType<Unit['install']>) {
    super(what);
    this.result = result;
  }
}

/** What one unit goes through when all is well, kept as bytes to begin from. */
export class Field {
  readonly layout;
  readonly #parts: Pick<UnitParts, 'record' | 'macKeys' | 'unwrappers' | 'marksKey'>;
  readonly #now: Date;
  readonly #moments = new Map<Moment, Uint8Array>();
  readonly #offers: { readonly predecessor: Offer; readonly release: Offer };
  /** Slot of the predecessor, and the one that is free; the running slot and the staging area where there is one. */
  readonly slots: { readonly running: number; readonly free: number };

  constructor(
    parts: Pick<UnitParts, 'record' | 'macKeys' | 'unwrappers' | 'marksKey'>,
    offers: { readonly predecessor: Offer; readonly release: Offer },
    now: Date,
    running: number,
  ) {
    this.#parts = parts;
    this.#offers = offers;
    this.#now = now;
    this.layout = unitFileLayout(parts.record.memory);
    const staged = parts.record.memory.shape === 'staged';
    this.slots = staged ? { running: 0, free: 1 } : { running, free: 1 - running };
  }

  /** Puts the unit under power at a moment; nothing it does is seen by other rows. */
  power(moment: Moment, options: PowerOptions = {}): Powered {
    const store = memoryStore(this.layout.size, this.at(moment));
    options.meanwhile?.(store.bytes, this);
    return this.over(store, { running: this.runningAt(moment), ...options });
  }

  /** Puts the unit under power again over what a cut left behind. */
  restart(bytes: Uint8Array): Powered {
    return this.over(storeOver(bytes));
  }

  /** Puts the unit under power over the bytes of a flash, which it changes. */
  over(store: ReturnType<typeof memoryStore>, options: PowerOptions = {}): Powered {
    const { running, cut, noise = () => 0.5, parts = {} } = options;
    const { flashOffset, notesOffset, flash: layout } = this.layout;
    const place = { dataOffset: flashOffset, size: layout.size, notesOffset };
    const { memory } = parts.record ?? this.#parts.record;
    const flash = new EmulatedFlash(store, place, memory.flash, { noise, cut });
    const seen = options.through?.(flash, this) ?? flash;
    const unit = openUnit({ ...this.#parts, flash: seen, memory: { running }, ...parts });
    return { unit, flash, bytes: store.bytes };
  }

  /** What runs at a moment. */
  runningAt(moment: Moment): number {
    return moment === 'kept' || moment === 'ready' ? this.slots.running : this.releaseSlot;
  }

  /** The slot that the release runs from. */
  get releaseSlot(): number {
    return this.#parts.record.memory.shape === 'staged' ? 0 : this.slots.free;
  }

  /** A part of the flash as it lies in its bytes. */
  part(bytes: Uint8Array, { offset, size }: FlashSpan): Uint8Array {
    const from = this.layout.flashOffset + offset;
    return bytes.subarray(from, from + size);
  }

  /** The slot that the release waits in once it is installed. */
  get readySlot(): number {
    return this.#parts.record.memory.shape === 'staged' ? 1 : this.slots.free;
  }

  get record(): UnitParts['record'] {
    return this.#parts.record;
  }

  /** The flash at a moment. */
  at(moment: Moment): Uint8Array {
    const known = this.#moments.get(moment);
    if (known) return known;
    const made = this.#make(moment);
    this.#moments.set(moment, made);
    return made;
  }

  /** An offer as a unit is handed it. */
  request({ envelope, image }: Offer) {
    return { envelope: sourceOf(envelope), ...(image && { image: sourceOf(image) }), now: this.#now };
  }

  get offers(): { readonly predecessor: Offer; readonly release: Offer } {
    return this.#offers;
  }

  #make(moment: Moment): Uint8Array {
    if (moment === 'kept') return this.#begin();
    if (moment === 'ready') {
      const { unit, bytes } = this.power('kept');
      this.#accept('the release', unit.install(this.request(this.#offers.release)));
      return bytes;
    }
    if (moment === 'on trial') {
      const { unit, bytes } = this.power('ready');
      this.#happen('start', unit.start());
      return bytes;
    }
    const { unit, bytes } = this.power('on trial');
    this.#happen('keep', unit.keep());
    return bytes;
  }

  #begin(): Uint8Array {
    const store = memoryStore(this.layout.size);
    const { record, marksKey } = this.#parts;
    beginLife(record, this.over(store).flash, marksKey);
    const staged = record.memory.shape === 'staged';
    const { unit } = this.over(store, { running: staged ? undefined : 1 - this.slots.running });
    this.#accept('the release before it', unit.install(this.request(this.#offers.predecessor)));
    this.#happen('start', unit.start());
    this.#happen('keep', unit.keep());
    return store.bytes;
  }

  #accept(what: string, result: ReturnType<Unit['install']>): void {
    if (result.verdict !== 'accepted')
      throw new StandInRefuses(`the stand-in unit does not take ${what}`, result);
  }

  #happen(what: string, { verdict, refusal }: { verdict: string; refusal: { code: string } | null }): void {
    if (verdict !== 'accepted')
      throw new StandInRefuses(`the stand-in unit refuses to ${what}: ${refusal?.code}`);
  }
}

/** A store over bytes that are changed in place. */
function storeOver(bytes: Uint8Array): ReturnType<typeof memoryStore> {
  return {
    size: bytes.length,
    bytes,
    read: (offset, length) => bytes.slice(offset, offset + length),
    write: (offset, part) => bytes.set(part, offset),
    flush: () => {},
  };
}
