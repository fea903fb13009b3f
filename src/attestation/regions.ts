import { codeAreas, type MemoryMap, type NamedRegion, type Region } from '../image/index.ts';

/** The part of a unit's memory that a challenge asks about. Address and length in bytes. */
export type RegionRequest = { readonly name: string } | { readonly address: number; readonly length: number };

/** The slot that runs, whichever it is; on a unit that runs its recovery image, that one. */
export const RUNNING = 'running';

/** What may be measured on a unit. */
export interface RegionRules {
  readonly memory: MemoryMap;
  /** Areas that the class allows, by name; undefined: every area that holds code that may run. */
  readonly allowed: readonly string[] | undefined;
}

/** A region that was found and may be measured, in bytes. */
export interface MeasurableRegion extends Region {
  /** Area of the memory map that it lies in: the name of a slot, or `recovery`. */
  readonly area: string;
  /** Offset of its first byte in that area. */
  readonly offset: number;
}

/** Every way in which a unit does not answer a challenge: a closed table. */
export const CHALLENGE_REFUSALS = {
  'challenge-malformed': {
    says: 'the file is not a challenge that can be read',
    next: 'Make a new one with "fieldseal challenge".',
  },
  'challenge-for-another-unit': {
    says: 'the challenge asks another unit',
    next: 'Give it to the unit that it names, or make one for this unit.',
  },
  'nothing-runs': {
    says: 'the unit was not started, so there is nothing that could vouch for it',
    next: 'Start it with "fieldseal boot", then ask again.',
  },
  'region-unknown': {
    says: 'the unit has no area of that name',
    next: 'Name a slot, "running" or "recovery", or give an address and a length.',
  },
  'region-not-allowed': {
    says: 'that part of the memory is never measured',
    next: 'Only areas that hold code, and that the class allows, are measured; keys and marks never are.',
  },
  'region-outside': {
    says: 'the region does not lie in one area of the memory map',
    next: 'Stay within one slot, or within the recovery image.',
  },
  'region-not-pages': {
    says: 'the region does not begin and end with an erase page',
    next: 'Ask for whole erase pages: hashes of shorter pieces would let a stranger guess the code byte by byte.',
  },
  'region-empty': {
    says: 'the unit holds no whole image there',
    next: 'Ask about the slot that runs.',
  },
} as const;

/** The closed list of codes. */
export type ChallengeRefusal = keyof typeof CHALLENGE_REFUSALS;

/**
 * The region that a request means, or why it is not measured. `running`: the area that runs; undefined leaves that name
 * unresolved. Only whole erase pages, or an area as a whole.
 */
export function resolveRegion(
  request: RegionRequest,
  rules: RegionRules,
  running: string | undefined,
): MeasurableRegion | ChallengeRefusal {
  const found = 'name' in request ? byName(request.name, rules, running) : byAddress(request, rules);
  if (typeof found === 'string') return found;
  return rules.allowed && !rules.allowed.includes(found.area) ? 'region-not-allowed' : found;
}

function byName(
  name: string,
  { memory }: RegionRules,
  running: string | undefined,
): MeasurableRegion | ChallengeRefusal {
  if (name === RUNNING && running === undefined) return 'nothing-runs';
  const wanted = name === RUNNING ? running : name;
  const area = codeAreas(memory).find((each) => each.name === wanted);
  if (area) return measurable(area, area);
  const known = ['envelopes', 'state', 'boot_log', ...memory.slots.map((slot) => slot.name)].includes(name);
  return known ? 'region-not-allowed' : 'region-unknown';
}

function byAddress(
  { address, length }: { readonly address: number; readonly length: number },
  { memory }: RegionRules,
): MeasurableRegion | ChallengeRefusal {
  const within = (area: Region) => address >= area.address && address < area.address + area.size;
  const area = codeAreas(memory).find(within);
  if (!area) {
    const { envelopes, state, ram, slots, boot_log } = memory;
    return [envelopes, state, ram, ...slots, ...(boot_log ? [boot_log] : [])].some(within)
      ? 'region-not-allowed'
      : 'region-outside';
  }
  if (length === 0 || address + length > area.address + area.size) return 'region-outside';
  const page = memory.flash.erase_page;
  if (address % page !== 0 || length % page !== 0) return 'region-not-pages';
  return measurable(area, { address, size: length });
}

function measurable({ name, address: start }: NamedRegion, { address, size }: Region): MeasurableRegion {
  return { area: name, address, size, offset: address - start };
}
