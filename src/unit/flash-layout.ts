import type { FlashGeometry, MemoryMap } from '../image/index.ts';
import { bootRecordSize } from './boot-record.ts';
import { formOf, recordSize } from './marks-record.ts';

/** A part of the flash, in bytes from its start. */
export interface FlashSpan {
  readonly offset: number;
  readonly size: number;
}

/** A named part of the flash, and the address at which the processor sees it. */
export interface FlashRegion extends FlashSpan {
  readonly name: string;
  readonly address: number;
}

/** Where the areas of a memory map lie in a unit's flash: packed without gaps, in the order of `regions`. */
export interface FlashLayout {
  readonly size: number;
  readonly slots: readonly [FlashSpan, FlashSpan];
  /** The part of the envelope area that belongs to each slot. */
  readonly envelopes: readonly [FlashSpan, FlashSpan];
  readonly recovery: FlashSpan | undefined;
  readonly state: FlashSpan;
  /** The two halves of the policy area, where the map has one. */
  readonly policy: readonly [FlashSpan, FlashSpan] | undefined;
  /** For each further component of the map, the area that belongs to each slot. */
  readonly components: readonly (readonly [FlashSpan, FlashSpan])[];
  readonly bootLog: FlashSpan | undefined;
  readonly regions: readonly FlashRegion[];
}

/** An area of a sound memory map that is too small for what a unit keeps in it. `area`: its field in the map. */
export class FlashLayoutError extends RangeError {
  override readonly name = 'FlashLayoutError';
  readonly area: 'state' | 'boot_log';

  constructor(area: 'state' | 'boot_log', message: string) {
    super(message);
    this.area = area;
  }
}

/** Records that each half of the state area must hold: after one that was cut short there is room for others. */
export const MINIMUM_BANK_RECORDS = 3;

/**
 * Lays the areas of a memory map out in one flash: both slots, the recovery image if there is one, the envelope
 * area, the state area, the policy area if there is one, the areas of further components, the boot log if there is one.
 * The map must be sound (`checkMemoryMap`). Throws `FlashLayoutError` where half of the state area holds fewer than
 * `MINIMUM_BANK_RECORDS` records, or half of the boot log none: both take less than 1 KiB unless write units are large.
 */
export function flashLayout(map: MemoryMap): FlashLayout {
  const regions: FlashRegion[] = [];
  let size = 0;
  const place = (name: string, address: number, length: number): FlashSpan => {
    const region = { name, offset: size, size: length, address };
    regions.push(region);
    size += length;
    return region;
  };
  const [first, second] = map.slots.map((slot) => place(`slot ${slot.name}`, slot.address, slot.size));
  const recovery = map.recovery && place('recovery', map.recovery.address, map.recovery.size);
  const part = map.envelopes.size / map.slots.length;
  const [firstEnvelope, secondEnvelope] = map.slots.map((slot, i) =>
    place(`envelope ${slot.name}`, map.envelopes.address + i * part, part),
  );
  const state = place('state', map.state.address, map.state.size);
  const policy = map.policy && place('policy', map.policy.address, map.policy.size);
  requireBanks(state.size, map);
  const components = (map.components ?? []).map(({ name, areas }) => {
    const [first, second] = areas.map((area, i) =>
      place(`${name} ${map.slots[i]!.name}`, area.address, area.size),
    );
    return [first!, second!] as const;
  });
  const bootLog = map.boot_log && place('boot log', map.boot_log.address, map.boot_log.size);
  if (bootLog) requireLog(bootLog.size, map.flash);
  return {
    size,
    slots: [first!, second!],
    envelopes: [firstEnvelope!, secondEnvelope!],
    recovery,
    state,
    policy: policy && halvesOf(policy),
    components,
    bootLog,
    regions,
  };
}

/** Bytes of each half of a state area: whole erase pages. */
export function bankSize(stateSize: number, { erase_page: page }: FlashGeometry): number {
  return Math.floor(stateSize / page / 2) * page;
}

function requireLog(size: number, geometry: FlashGeometry): void {
  const { whole } = bootRecordSize(geometry);
  const bank = bankSize(size, geometry);
  if (bank >= whole) return;
  throw new FlashLayoutError(
    'boot_log',
    `the boot log has ${size} bytes, two halves of ${bank} bytes in whole erase pages; each half must hold a record of ` +
      `${whole} bytes: give the class a larger boot log`,
  );
}

function halvesOf({ offset, size }: FlashSpan): [FlashSpan, FlashSpan] {
  const half = size / 2;
  return [
    { offset, size: half },
    { offset: offset + half, size: half },
  ];
}

function requireBanks(stateSize: number, map: MemoryMap): void {
  const { flash: geometry } = map;
  const { whole } = recordSize(geometry, formOf(map));
  const bank = bankSize(stateSize, geometry);
  if (bank >= MINIMUM_BANK_RECORDS * whole) return;
  throw new FlashLayoutError(
    'state',
    `the state area has ${stateSize} bytes, two halves of ${bank} bytes in whole erase pages; each half must hold ` +
      `${MINIMUM_BANK_RECORDS} records of ${whole} bytes: give the class a larger state area`,
  );
}
