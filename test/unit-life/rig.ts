import { sha256 } from '../../src/crypto/index.ts';
import type { FlashGeometry, MemoryMap, SlotShape } from '../../src/image/index.ts';
import type { AttestationRules } from '../../src/unit/attestation-rules.ts';
import { roundUp } from '../../src/unit/flash.ts';
import { type Cut, EmulatedFlash } from '../../src/unit/flash-emulated.ts';
import { flashLayout } from '../../src/unit/flash-layout.ts';
import { memoryStore, noteSize, type Store } from '../../src/unit/flash-pages.ts';
import { beginLife, openUnit, type Unit } from '../../src/unit/life.ts';
import type { VolatileMemory } from '../../src/unit/life-board.ts';
import { recordSize } from '../../src/unit/marks-record.ts';
import type { UnitRecord } from '../../src/unit/record.ts';
import { exampleRecord } from '../unit/records.ts';
import { COMPONENTS, fakeDecision } from './fake-decision.ts';

const MARKS_KEY = new Uint8Array(32).fill(0x5a);
export const RECOVERY = Uint8Array.from({ length: 90 }, (_, i) => i ^ 0x33);

/** A small unit: everything that matters is there, and a whole life takes a few hundred flash operations. */
export interface RigOptions {
  readonly shape: SlotShape;
  readonly writeUnit: number;
  readonly erased: number;
  readonly page?: number;
  readonly slotPages?: number;
  readonly recovery?: boolean;
  readonly bankRecords?: number;
  readonly endurance?: number;
  /** Further components. */
  readonly components?: number;
  /** Pages of the boot log; none where left out. */
  readonly logPages?: number;
  readonly rules?: AttestationRules;
}

export interface Rig {
  readonly record: UnitRecord;
  readonly flashSize: number;
  readonly storeSize: number;
  /** A unit over a store; `cut` schedules when its power goes. */
  power(
    store: Store,
    noise: () => number,
    cut?: Cut,
    memory?: VolatileMemory,
  ): { unit: Unit; flash: EmulatedFlash };
  /** A new unit with marks, nothing installed. */
  begin(): Uint8Array;
}

export function rigOf(options: RigOptions): Rig {
  const record = exampleRecord({
    memory: mapOf(options),
    trial_attempts: 2,
    ...(options.rules && { attestation: options.rules }),
  });
  const layout = flashLayout(record.memory);
  const geometry = record.memory.flash;
  const storeSize = layout.size + (layout.size / geometry.erase_page) * noteSize(geometry);
  const place = { dataOffset: 0, size: layout.size, notesOffset: layout.size };
  const recovery = layout.recovery && { size: RECOVERY.length, digest: sha256(RECOVERY) };
  return {
    record,
    flashSize: layout.size,
    storeSize,
    power(store, noise, cut, memory = { running: undefined }) {
      const flash = new EmulatedFlash(store, place, geometry, { noise, cut });
      const decision = fakeDecision;
      const macKeys = new Map();
      return {
        unit: openUnit({ record, macKeys, marksKey: MARKS_KEY, flash, decision, recovery, memory }),
        flash,
      };
    },
    begin() {
      const store = memoryStore(storeSize);
      const flash = new EmulatedFlash(store, place, geometry, { noise: () => 0.5 });
      beginLife(record, flash, MARKS_KEY);
      if (layout.recovery) {
        const padded = new Uint8Array(roundUp(RECOVERY.length, geometry.write_unit)).fill(
          geometry.erased_value,
        );
        padded.set(RECOVERY);
        flash.program(layout.recovery.offset, padded);
      }
      return store.bytes;
    },
  };
}

function mapOf(options: RigOptions): MemoryMap {
  const { shape, writeUnit, erased, page = 64, slotPages = 4, recovery = false } = options;
  const flash: FlashGeometry = {
    erase_page: page,
    write_unit: writeUnit,
    erased_value: erased,
    endurance: options.endurance ?? 100_000,
  };
  const bank = roundUp((options.bankRecords ?? 3) * recordSize(flash).whole, page);
  const sizes = [slotPages * page, slotPages * page, 2 * roundUp(78, page), 2 * bank];
  const at = sizes.map((_, i) => sizes.slice(0, i).reduce((sum, size) => sum + size, 0));
  return {
    shape,
    core: 'none',
    slots: [
      { name: shape === 'staged' ? 'run' : 'A', address: at[0]!, size: sizes[0]! },
      { name: shape === 'staged' ? 'staging' : 'B', address: at[1]!, size: sizes[1]! },
    ],
    ...(options.components && {
      components: COMPONENTS.slice(0, options.components).map((name, i) => ({
        name,
        areas: [0, 1].map((slot) => ({ address: 0x200000 + (2 * i + slot) * 4 * page, size: 4 * page })),
        started: i > 0,
      })),
    }),
    ...(recovery ? { recovery: { address: 0x100000, size: 2 * page } } : {}),
    envelopes: { address: at[2]!, size: sizes[2]! },
    state: { address: at[3]!, size: sizes[3]! },
    ...(options.logPages ? { boot_log: { address: 0x200000, size: options.logPages * page } } : {}),
    flash,
    ram: { address: 0, size: 0 },
    leave_out: [],
  };
}

/** The bytes of each further component that belong to what a unit started. */
export function furtherBytes(unit: Unit, flash: EmulatedFlash, image: string): Uint8Array[] {
  const slot = unit.record.memory.slots.findIndex(({ name }) => name === image);
  return unit.layout.components.map((areas) => flash.read(areas[slot]!.offset, areas[slot]!.size));
}

/** The bytes that a started unit would run. */
export function runningBytes(unit: Unit, flash: EmulatedFlash, image: string, length: number): Uint8Array {
  const slot = unit.record.memory.slots.findIndex(({ name }) => name === image);
  const span = image === 'recovery' ? unit.layout.recovery! : unit.layout.slots[slot]!;
  return flash.read(span.offset, length);
}
