import { IMAGE_LIMITS } from './limits.ts';
import type { MemoryMap, NamedRegion, Region } from './memory.ts';
import { formatAddress, formatSize } from './size.ts';

/** One mistake in a memory map: the field as a path into the map, what is wrong, what was expected. */
export interface MapProblem {
  path: (string | number)[];
  says: string;
  expected: string;
}

/** Smallest part of the envelope area that holds a manifest and a signature with its certificate chain. */
const MINIMUM_ENVELOPE_SIZE = 2048;
/** What the longest policy has, as units bound it: 64 keys denied and 8 roots retired, in CBOR. */
const MINIMUM_POLICY_SIZE = 2560;
const VECTOR_TABLE_ALIGNMENT = 128;
const ADDRESS_SPACE = { 'cortex-m': 2 ** 32, none: Number.MAX_SAFE_INTEGER } as const;
const SHAPES = ['remapped', 'position-independent', 'linked', 'staged'];
const CORES = ['cortex-m', 'none'];

/**
 * What is wrong with a memory map, empty where it is sound: sizes and addresses, alignment to the erase page,
 * overlaps, and whether the areas are large enough for what a unit keeps in them.
 */
export function checkMemoryMap(map: MemoryMap): MapProblem[] {
  const basics = [...checkKinds(map), ...checkFlash(map), ...checkRanges(map)];
  if (basics.length > 0) return basics;
  return [
    ...checkSlots(map),
    ...checkLinkAddress(map),
    ...checkEnvelopes(map),
    ...checkState(map),
    ...checkPolicy(map),
    ...checkComponents(map),
    ...checkOverlaps(map),
    ...checkDeltaWindow(map),
  ];
}

function* checkKinds(map: MemoryMap): Generator<MapProblem> {
  if (!SHAPES.includes(map.shape)) {
    yield {
      path: ['shape'],
      says: `unknown slot shape ${map.shape}`,
      expected: `one of ${SHAPES.join(', ')}`,
    };
  }
  if (!CORES.includes(map.core)) {
    yield { path: ['core'], says: `unknown core ${map.core}`, expected: `one of ${CORES.join(', ')}` };
  }
  if (map.slots.length !== 2) {
    yield { path: ['slots'], says: `${map.slots.length} slots`, expected: 'two slots' };
  }
  for (const [i, { areas }] of (map.components ?? []).entries()) {
    if (areas.length === 2) continue;
    const says = `${areas.length} areas for a component`;
    yield { path: ['components', i, 'areas'], says, expected: 'two areas, one for each slot' };
  }
}

function* checkFlash({ flash }: MemoryMap): Generator<MapProblem> {
  for (const field of ['erase_page', 'write_unit', 'endurance'] as const) {
    if (isCount(flash[field])) continue;
    yield {
      path: ['flash', field],
      says: `${flash[field]} is not usable`,
      expected: 'a whole number above 0',
    };
  }
  if (isCount(flash.write_unit) && isCount(flash.erase_page) && flash.erase_page % flash.write_unit !== 0) {
    const says = `an erase page of ${flash.erase_page} bytes is no whole number of write units`;
    yield { path: ['flash', 'write_unit'], says, expected: 'a divisor of erase_page, for example 8' };
  }
  if (!Number.isInteger(flash.erased_value) || flash.erased_value < 0 || flash.erased_value > 0xff) {
    const says = `${flash.erased_value} is not a byte`;
    yield { path: ['flash', 'erased_value'], says, expected: '0 to 255, usually 255' };
  }
}

function isCount(value: number): boolean {
  return Number.isSafeInteger(value) && value > 0;
}

function* checkDeltaWindow({ delta_window: window, ram }: MemoryMap): Generator<MapProblem> {
  if (window === undefined) return;
  const room = ram.size > 0 ? ram.size : Number.MAX_SAFE_INTEGER;
  if (isCount(window) && window <= room) return;
  const says = `a window of ${window} bytes cannot be set aside`;
  const expected = `more than 0 and no more than the RAM, ${formatSize(ram.size)}, for example 8KiB`;
  yield { path: ['delta_window'], says, expected };
}

interface Area extends NamedRegion {
  path: (string | number)[];
}

/** The areas of the flash that erase pages divide. */
function flashAreas(map: MemoryMap): Area[] {
  const areas: Area[] = map.slots.map((slot, i) => ({
    ...slot,
    name: `slot ${slot.name}`,
    path: ['slots', i],
  }));
  if (map.recovery) areas.push({ ...map.recovery, name: 'the recovery image', path: ['recovery'] });
  areas.push({ ...map.envelopes, name: 'the envelope area', path: ['envelopes'] });
  areas.push({ ...map.state, name: 'the state area', path: ['state'] });
  if (map.policy) areas.push({ ...map.policy, name: 'the policy area', path: ['policy'] });
  for (const [i, { name, areas: own }] of (map.components ?? []).entries()) {
    for (const [slot, area] of own.entries())
      areas.push({ ...area, name: `area ${slot + 1} of ${name}`, path: ['components', i, 'areas', slot] });
  }
  if (map.boot_log) areas.push({ ...map.boot_log, name: 'the boot log', path: ['boot_log'] });
  return areas;
}

function* checkRanges(map: MemoryMap): Generator<MapProblem> {
  const limit = ADDRESS_SPACE[map.core] ?? ADDRESS_SPACE.none;
  const leftOut = map.leave_out.map((range, i) => ({ ...range, path: ['leave_out', i] }));
  const ram = { ...map.ram, name: 'the RAM', path: ['ram'] };
  const noRam = map.core === 'none' && map.ram.size === 0;
  for (const area of [...flashAreas(map), ...(noRam ? [] : [ram]), ...leftOut])
    yield* checkRange(area, limit);
}

function* checkRange({ path, name, address, size }: Area, limit: number): Generator<MapProblem> {
  if (!Number.isSafeInteger(address) || address < 0) {
    const says = `${address} is not an address`;
    yield { path: [...path, 'address'], says, expected: 'a whole number, for example 0x08000000' };
  } else if (!isCount(size)) {
    const says = `${name} has a size of ${size}`;
    yield { path: [...path, 'size'], says, expected: 'a whole number of bytes above 0, for example 256KiB' };
  } else if (address + size > limit) {
    const says = `${name} ends beyond the address space`;
    yield { path: [...path, 'size'], says, expected: `an end of at most ${formatAddress(limit)}` };
  }
}

function* checkSlots(map: MemoryMap): Generator<MapProblem> {
  for (const area of flashAreas(map)) yield* checkPages(area, map.flash.erase_page);
  const [first, second] = map.slots as [NamedRegion, NamedRegion];
  for (const [i, { name }] of map.slots.entries()) {
    if (name === '')
      yield { path: ['slots', i, 'name'], says: 'the slot has no name', expected: 'a name such as A' };
  }
  if (first.name === second.name) {
    const says = `both slots are called ${first.name}`;
    yield { path: ['slots', 1, 'name'], says, expected: 'two different names' };
  }
  if (map.shape === 'remapped' && first.size !== second.size) {
    const says = 'the banks that the hardware exchanges differ in size';
    yield { path: ['slots', 1, 'size'], says, expected: formatSize(first.size) };
  }
  if (map.shape === 'staged' && second.size < first.size) {
    const says = `the staging area is smaller than the slot it fills (${formatSize(second.size)})`;
    yield { path: ['slots', 1, 'size'], says, expected: `at least ${formatSize(first.size)}` };
  }
}

function* checkPages({ path, name, address, size }: Area, page: number): Generator<MapProblem> {
  const expected = `a multiple of the erase page, ${formatSize(page)}`;
  if (address % page !== 0) {
    const says = `${name} begins inside an erase page, at ${formatAddress(address)}`;
    yield { path: [...path, 'address'], says, expected };
  }
  if (size % page !== 0) {
    yield {
      path: [...path, 'size'],
      says: `${name} ends inside an erase page (${formatSize(size)})`,
      expected,
    };
  }
}

function* checkLinkAddress(map: MemoryMap): Generator<MapProblem> {
  const path = ['link_address'];
  const link = map.link_address;
  if (link !== undefined && (map.shape === 'linked' || map.shape === 'staged')) {
    const says = `with the shape ${map.shape} an image is linked for its slot's own address`;
    yield { path, says, expected: 'no link_address' };
    return;
  }
  const size = Math.min(...map.slots.map((slot) => slot.size));
  if (
    link !== undefined &&
    (!Number.isSafeInteger(link) || link < 0 || link + size > ADDRESS_SPACE[map.core])
  ) {
    yield {
      path,
      says: `${link} is not a usable address`,
      expected: 'an address with room for a slot behind it',
    };
    return;
  }
  if (map.core === 'cortex-m') yield* checkVectorTableAlignment(map);
}

/** The vector table offset register has no bits below 128 (Armv7-M Architecture Reference Manual B3.2.5, from memory). */
function* checkVectorTableAlignment(map: MemoryMap): Generator<MapProblem> {
  const expected = `a multiple of ${VECTOR_TABLE_ALIGNMENT}, where a vector table may lie`;
  const misplaced = (address: number) => address % VECTOR_TABLE_ALIGNMENT !== 0;
  if (map.link_address !== undefined) {
    if (!misplaced(map.link_address)) return;
    yield { path: ['link_address'], says: `${formatAddress(map.link_address)} is not aligned`, expected };
    return;
  }
  for (const [i, slot] of map.slots.entries()) {
    if (!misplaced(slot.address)) continue;
    yield { path: ['slots', i, 'address'], says: `${formatAddress(slot.address)} is not aligned`, expected };
  }
}

function* checkEnvelopes({ envelopes, slots, flash }: MemoryMap): Generator<MapProblem> {
  const part = envelopes.size / slots.length;
  const path = ['envelopes', 'size'];
  if (part % flash.erase_page !== 0) {
    const says = 'each slot keeps its envelope in pages of its own, or erasing one would erase the other';
    yield { path, says, expected: `a multiple of ${slots.length} erase pages` };
  } else if (part < MINIMUM_ENVELOPE_SIZE) {
    const says = `${formatSize(part)} per slot is too little for a manifest and a signature with its certificates`;
    yield {
      path,
      says,
      expected: `at least ${formatSize(slots.length * MINIMUM_ENVELOPE_SIZE)}, better 16 KiB`,
    };
  }
}

function* checkState({ state, boot_log, flash }: MemoryMap): Generator<MapProblem> {
  const expected = `at least two erase pages, ${formatSize(2 * flash.erase_page)}`;
  if (state.size < 2 * flash.erase_page) {
    const says = 'the last whole mark must stay readable in one page while the other page is erased';
    yield { path: ['state', 'size'], says, expected };
  }
  if (boot_log && boot_log.size < 2 * flash.erase_page) {
    const says = 'the last records must stay readable in one page while the other page is erased';
    yield { path: ['boot_log', 'size'], says, expected };
  }
}

function* checkPolicy({ policy, flash }: MemoryMap): Generator<MapProblem> {
  if (!policy) return;
  const half = policy.size / 2;
  const path = ['policy', 'size'];
  if (half % flash.erase_page !== 0) {
    const says = 'what was taken last must stay readable while the other half is erased';
    yield { path, says, expected: 'a multiple of two erase pages' };
  } else if (half < MINIMUM_POLICY_SIZE) {
    const says = `${formatSize(half)} in each half is too little for the longest trust update`;
    yield { path, says, expected: `at least ${formatSize(2 * MINIMUM_POLICY_SIZE)}` };
  }
}

/** What the components of every unit are called already (`src/suit/templates.ts`). */
const TAKEN_NAMES = ['main', 'staging', 'download', 'precursor', 'policy'];
const COMPONENT_NAME = /^[A-Za-z0-9._-]{1,32}(?:\/[A-Za-z0-9._-]{1,32}){0,3}$/;

function* checkComponents({ components = [], shape }: MemoryMap): Generator<MapProblem> {
  if (components.length > 0 && shape === 'staged') {
    const says =
      'with a staging area the former image is gone once the new one starts, so nothing could fall back together';
    yield { path: ['components'], says, expected: 'no components, or another shape' };
  }
  if (components.length > IMAGE_LIMITS.components.value) {
    const says = `${components.length} components`;
    yield { path: ['components'], says, expected: `at most ${IMAGE_LIMITS.components.value}` };
  }
  for (const [i, { name }] of components.entries()) {
    const path = ['components', i, 'name'];
    if (!COMPONENT_NAME.test(name)) {
      const expected =
        'a name such as radio, or segments parted by /, of letters, digits, dot, dash, underscore';
      yield { path, says: `"${name}" names no component`, expected };
    } else if (TAKEN_NAMES.includes(name)) {
      yield { path, says: `every unit has a component ${name} of its own`, expected: 'another name' };
    } else if (components.slice(0, i).some((earlier) => earlier.name === name)) {
      yield { path, says: `two components are called ${name}`, expected: 'a name of its own' };
    }
  }
}

function* checkOverlaps(map: MemoryMap): Generator<MapProblem> {
  const areas = [...flashAreas(map), { ...map.ram, name: 'the RAM', path: ['ram'] }];
  for (const [i, area] of areas.entries()) {
    const other = areas.slice(0, i).find((earlier) => overlap(earlier, area));
    if (!other) continue;
    const says = `${area.name} overlaps ${other.name}, ${rangeText(other)}`;
    yield { path: [...area.path, 'address'], says, expected: `a range outside ${rangeText(other)}` };
  }
}

function overlap(a: Region, b: Region): boolean {
  return a.address < b.address + b.size && b.address < a.address + a.size;
}

function rangeText({ address, size }: Region): string {
  return `${formatAddress(address)} to ${formatAddress(address + size - 1)}`;
}
