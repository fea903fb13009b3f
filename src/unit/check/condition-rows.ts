import { equal, toHex } from '../../bytes/index.ts';
import { COMMANDS, formatUuid, type Parameters, type ParameterTypes } from '../../suit/index.ts';
import { type PreparedAuthor, prepareRecord } from '../prepared.ts';
import type { RefusalCode } from '../refusals.ts';
import type { UnitView } from '../state.ts';
import type { Question } from '../trace.ts';

/** What runs, as a manifest may ask about it. */
export interface Precursor {
  /** Whether it begins with this image: SHA-256, 32 bytes, and size in bytes. */
  is(image: { readonly digest: Uint8Array; readonly size: number }): boolean;
}

/** What conditions are judged against. */
export interface Circumstances {
  readonly unit: UnitView;
  /** Index of the slot that is to be filled, or that is to start. */
  readonly slot: number;
  /** The time by the unit's clock; undefined where it has none. `at start`: no date is judged there. */
  readonly at: Date | 'at start' | undefined;
  /** What a delta may be applied to. Absent at start, and where nothing runs. */
  readonly precursor?: Precursor | undefined;
  /** Whose manifest it is, where it is another author's than the unit's own. */
  readonly author?: PreparedAuthor | undefined;
}

/** One condition that a unit can judge. The parameters that it needs are set (draft-ietf-suit-manifest 8.4.9). */
export interface ConditionRow {
  /** The refusal that a failure means; undefined where the condition holds. */
  judge(parameters: Parameters, circumstances: Circumstances): RefusalCode | undefined;
  /** What was compared. Takes its values out of `parameters` at once: they change as commands run. */
  question(parameters: Parameters, circumstances: Circumstances): Question;
}

export const VENDOR = 1;
export const CLASS = 2;
const USE_BEFORE = 4;
const SLOT = 5;
const DEVICE = 24;
const IDENTIFIERS = 'draft-ietf-suit-manifest 8.4.8.2, 8.4.9.1';

const vendor: ConditionRow = {
  judge(parameters, { unit, author }) {
    const named = parameters.get(1);
    const own = [prepareRecord(unit.record).vendorId, ...(author ? [author.vendorId] : [])];
    return named instanceof Uint8Array && own.some((id) => equal(named, id)) ? undefined : 'vendor-wrong';
  },
  question(parameters, { unit, author }) {
    const named = parameters.get(1)!;
    return {
      what: 'vendor identifier',
      expected: () => [unit.record.vendor_id, ...(author ? [formatUuid(author.vendorId)] : [])].join(' or '),
      found: () => vendorText(named),
      source: IDENTIFIERS,
    };
  },
};

/** A vendor may also be named by its enterprise number (section 8.4.8.3); units are provisioned with a UUID. */
function vendorText(named: ParameterTypes[1]): string {
  return named instanceof Uint8Array ? formatUuid(named) : `enterprise number ${toHex(named.pen)}`;
}

const deviceClass: ConditionRow = {
  judge(parameters, { unit, author }) {
    const named = parameters.get(2)!;
    const is = (id: Uint8Array) => equal(id, named);
    const known = prepareRecord(unit.record).classIds.some(is) || author?.classIds.some(is);
    return known ? undefined : 'class-wrong';
  },
  question(parameters, { unit, author }) {
    const named = parameters.get(2)!;
    return {
      what: 'class identifier',
      expected: () => [...unit.record.class_ids, ...(author?.classIds ?? []).map(formatUuid)].join(' or '),
      found: () => formatUuid(named),
      source: IDENTIFIERS,
    };
  },
};

const device: ConditionRow = {
  judge(parameters, { unit }) {
    return equal(prepareRecord(unit.record).deviceId, parameters.get(24)!) ? undefined : 'device-wrong';
  },
  question(parameters, { unit }) {
    const named = parameters.get(24)!;
    return {
      what: 'device identifier',
      expected: unit.record.device_id,
      found: () => formatUuid(named),
      source: IDENTIFIERS,
    };
  },
};

const componentSlot: ConditionRow = {
  judge: (parameters, { slot }) => (parameters.get(5) === slot ? undefined : 'slot-not-offered'),
  question: (parameters, { slot, unit }) => ({
    what: 'component slot',
    expected: () => `${slot}, slot ${unit.record.memory.slots[slot]!.name}`,
    found: parameters.get(5)!,
    source: 'draft-ietf-suit-manifest 8.4.9.4',
  }),
};

/** Whole seconds since 1970, compared in 64 bits (draft-ietf-suit-update-management sections 4.1 and 5.1). */
const useBefore: ConditionRow = {
  judge(parameters, { at }) {
    if (at === 'at start') return undefined;
    if (!at) return 'clock-needed';
    return secondsOf(at) < parameters.get(4)! ? undefined : 'use-before-passed';
  },
  question(parameters, { at }) {
    const end = parameters.get(4)!;
    return {
      what: 'time by the clock of the unit, seconds since 1970',
      expected: () => `before ${end}`,
      found: timeText(at),
      source: 'draft-ietf-suit-update-management 5.1',
    };
  },
};

function timeText(at: Circumstances['at']): string | bigint {
  if (at === 'at start') return 'not judged: it was when this was installed, and no date stops a start';
  return at ? secondsOf(at) : 'no clock that the unit trusts';
}

function secondsOf(at: Date): bigint {
  return BigInt(Math.floor(at.getTime() / 1000));
}

const ROWS: ReadonlyMap<number, ConditionRow> = new Map([
  [VENDOR, vendor],
  [CLASS, deviceClass],
  [USE_BEFORE, useBefore],
  [SLOT, componentSlot],
  [DEVICE, device],
]);

/** The row of a condition. One that this unit cannot judge counts as failed (draft-ietf-suit-manifest 8.4.9). */
export function conditionRow(code: number): ConditionRow {
  return ROWS.get(code) ?? unjudgeable(code);
}

function unjudgeable(code: number): ConditionRow {
  return {
    judge: () => 'condition-failed',
    question: () => ({
      what: COMMANDS.get(code)?.name ?? `condition ${code}`,
      expected: 'a condition that this unit can judge here',
      found: 'it counts as failed',
      source: 'draft-ietf-suit-manifest 8.4.9',
    }),
  };
}
