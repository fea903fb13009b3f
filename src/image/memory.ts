/** Part of an address space: first address and length in bytes. */
export interface Region {
  address: number;
  size: number;
}

/** A region that a map calls by a name of its own. */
export interface NamedRegion extends Region {
  name: string;
}

/**
 * How a class of units runs an image: banks that the hardware remaps (one image), position-independent code
 * (one image), slots with a link address each (two images), or one running slot with a staging area.
 */
export type SlotShape = 'remapped' | 'position-independent' | 'linked' | 'staged';

/** Processor core, as far as the image's head depends on it: Cortex-M images begin with a vector table. */
export type Core = 'cortex-m' | 'none';

/** Flash geometry: sizes in bytes; `erased_value` is what an erased byte reads as; `endurance` in erase cycles. */
export interface FlashGeometry {
  erase_page: number;
  write_unit: number;
  erased_value: number;
  endurance: number;
}

/**
 * A component beside the image that runs, such as the image of a radio co-processor. It belongs to the slots: the image in
 * the first area goes with the image in the first slot, and the two start, stay and fall back together.
 */
export interface ComponentArea {
  /** The component identifier: its segments in UTF-8, parted by '/'. */
  name: string;
  /** One for each slot, in the order of the slots. */
  areas: Region[];
  /** Whether the unit also starts it, before its own image; otherwise it only stores and verifies it. */
  started: boolean;
}

/** The memory map of a device class, as it stands in class and unit files. Addresses and sizes in bytes. */
export interface MemoryMap {
  shape: SlotShape;
  core: Core;
  /** Where the image is linked, for `remapped` and `position-independent`; default is the first slot's address. */
  link_address?: number;
  /** Two slots; for `staged` the running slot, then the staging area. */
  slots: NamedRegion[];
  /** An image that is never replaced in the field and may only fetch and install. */
  recovery?: Region;
  /** Further components that a release brings, all of them with each release. Default none; none with `staged`. */
  components?: ComponentArea[];
  /** Split evenly, one part per slot: holds the envelope without its image, for the check at start-up. */
  envelopes: Region;
  /** The unit's own marks. */
  state: Region;
  /** Split evenly: holds what trust updates say, twice. Absent: units of the class take none. */
  policy?: Region;
  /** Records of starts and self-checks. Absent where a unit keeps none. */
  boot_log?: Region;
  flash: FlashGeometry;
  /** Where the initial stack pointer must lie; size 0 where the core is `none`. */
  ram: Region;
  /** Ranges whose data in an image file is left out, such as option bytes. */
  leave_out: NamedRegion[];
  /** RAM that a unit sets aside to make one window of an image from a delta, in bytes; left out: it takes no deltas. */
  delta_window?: number;
}

/** Bytes that each slot's part of the envelope area has by default. */
const ENVELOPE_SIZE = 8192;
const ERASE_PAGE = 4096;
const RECOVERY_SIZE = 64 * 1024;
const DEFAULT_SLOT_SIZE = 256 * 1024;
const BASE = { 'cortex-m': 0x08000000, none: 0 } as const;
const RAM = {
  'cortex-m': { address: 0x20000000, size: 64 * 1024 },
  none: { address: 0, size: 0 },
} as const;

/** What `defaultMemoryMap` may be told; sizes in bytes. */
interface DefaultMapOptions {
  core: Core;
  slotSize?: number;
  shape?: SlotShape;
  /** Whether there is a policy area, two pages behind the state area. Default none. */
  policy?: boolean;
}

/**
 * A map to begin with: two slots of `slotSize` (default 256 KiB) one behind the other, then the recovery image
 * (staged shape only), the envelope area (8 KiB per slot), the state area and the boot log (two pages each); 4 KiB pages, 8-byte
 * write unit, erased to 0xff, 10000 cycles. Cortex-M maps begin at 0x08000000 and have 64 KiB of RAM at
 * 0x20000000, others begin at 0. The figures are common practice; a real class takes its part's data sheet.
 */
export function defaultMemoryMap({
  core,
  slotSize = DEFAULT_SLOT_SIZE,
  shape = 'remapped',
  policy = false,
}: DefaultMapOptions): MemoryMap {
  const areas = areasFrom(BASE[core]);
  const [first, second] = shape === 'staged' ? ['run', 'staging'] : ['A', 'B'];
  const slots = [
    { name: first as string, ...areas(slotSize) },
    { name: second as string, ...areas(slotSize) },
  ];
  const oneImage = shape === 'remapped' || shape === 'position-independent';
  return {
    shape,
    core,
    ...(oneImage ? { link_address: BASE[core] } : {}),
    slots,
    ...(shape === 'staged' ? { recovery: areas(RECOVERY_SIZE) } : {}),
    envelopes: areas(2 * ENVELOPE_SIZE),
    state: areas(2 * ERASE_PAGE),
    ...(policy ? { policy: areas(2 * ERASE_PAGE) } : {}),
    boot_log: areas(2 * ERASE_PAGE),
    flash: { erase_page: ERASE_PAGE, write_unit: 8, erased_value: 0xff, endurance: 10000 },
    ram: { ...RAM[core] },
    leave_out: [],
  };
}

function areasFrom(base: number): (size: number) => Region {
  let address = base;
  return (size) => {
    const area = { address, size };
    address += size;
    return area;
  };
}

/** Name of the area of the recovery image, beside those of the slots. */
export const RECOVERY_AREA = 'recovery';

/** Areas that hold code that may run. A staging area may hold a ciphertext, and nothing runs from it. */
export function codeAreas({ shape, slots, recovery }: MemoryMap): NamedRegion[] {
  const run = shape === 'staged' ? slots.slice(0, 1) : slots;
  return recovery ? [...run, { name: RECOVERY_AREA, ...recovery }] : run;
}

/** Whether `address` lies in `region`. */
export function contains(region: Region, address: number): boolean {
  return address >= region.address && address < region.address + region.size;
}

/**
 * The range an image for `slotName` is linked for. Linked slots have one each; with remapped banks and
 * position-independent code it is the link address and the smaller slot's size, so that the image fits
 * wherever it lands; a staged image runs from the first slot. Undefined for a name the map does not have.
 */
export function linkRegion(map: MemoryMap, slotName?: string): NamedRegion | undefined {
  const slot = slotName === undefined ? map.slots[0] : map.slots.find(({ name }) => name === slotName);
  if (!slot || map.shape === 'linked') return slot;
  const running = map.slots[0]!;
  if (map.shape === 'staged') return running;
  const size = Math.min(...map.slots.map((each) => each.size));
  return { name: slot.name, address: map.link_address ?? running.address, size };
}
