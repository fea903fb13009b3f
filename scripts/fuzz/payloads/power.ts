/** A unit under power over a store, and stores that hold it in three moments of its life. */
import { toHex } from '../../../src/bytes/index.ts';
import {
  beginLife,
  type Cut,
  type Decision,
  EmulatedFlash,
  type Flash,
  memoryStore,
  openUnit,
  type Store,
  type Unit,
  type UnitRecord,
  unitFileLayout,
  unwrappersOf,
} from '../../../src/unit/index.ts';
import { KEK } from '../../../test/unit/encrypted.ts';
import { FUZZ_CLASS_KEY } from './authority.ts';
import { type Offer, offerOf } from './offer.ts';
import { OWN_KEY } from './record.ts';

const MARKS_KEY = new Uint8Array(32).fill(0x77);

/** A unit under power. */
export interface Powered {
  readonly unit: Unit;
  readonly flash: EmulatedFlash;
}

/** Stores of a unit at three moments. */
export interface Lives {
  /** With one image kept and running. */
  readonly kept: Uint8Array;
  /** With a new image ready. */
  readonly ready: Uint8Array;
  /** With the new image running on trial. */
  readonly onTrial: Uint8Array;
}

/** `first` is installed and kept, then `second` is installed and started. */
export function livesOf(record: UnitRecord, first: Offer, second: Offer): Lives {
  const store = memoryStore(unitFileLayout(record.memory).size);
  beginLife(record, flashOver(record, store), MARKS_KEY);
  const { unit } = power(record, store);
  const accepted = (result: { verdict: string; refusal: unknown }) => {
    if (result.verdict !== 'accepted')
      throw new Error(`the fuzz run's own unit refuses: ${JSON.stringify(result.refusal)}`);
  };
  accepted(unit.install(offerOf(first)));
  accepted(unit.start());
  accepted(unit.keep());
  const kept = store.bytes.slice();
  accepted(unit.install(offerOf(second)));
  const ready = store.bytes.slice();
  accepted(unit.start());
  return { kept, ready, onTrial: store.bytes.slice() };
}

export interface PowerOptions {
  /** The slot that runs already. */
  readonly running?: number | undefined;
  readonly cut?: Cut | undefined;
  /** What stands between the unit and its flash. */
  readonly through?: (flash: Flash) => Flash;
  readonly decision?: Decision;
}

/** Puts a unit under power over a store. */
export function power(record: UnitRecord, store: Store, options: PowerOptions = {}): Powered {
  const flash = flashOver(record, store, options.cut);
  const symmetric = record.scheme === 'symmetric';
  const contentKeys = new Map(symmetric ? [[toHex(KEK.id), KEK.key]] : []);
  const macKeys = new Map(record.mac_keys.map(({ id }) => [id, FUZZ_CLASS_KEY.key]));
  const unit = openUnit({
    record,
    macKeys,
    marksKey: MARKS_KEY,
    unwrappers: unwrappersOf(record, { contentKeys, decryptionKey: OWN_KEY.pkcs8 }),
    flash: options.through?.(flash) ?? flash,
    memory: { running: options.running },
    ...(options.decision ? { decision: options.decision } : {}),
  });
  return { unit, flash };
}

function flashOver(record: UnitRecord, store: Store, cut?: Cut): EmulatedFlash {
  const { flashOffset, notesOffset, flash } = unitFileLayout(record.memory);
  const place = { dataOffset: flashOffset, size: flash.size, notesOffset };
  return new EmulatedFlash(store, place, record.memory.flash, { noise: () => 0.5, cut });
}
