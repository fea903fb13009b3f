import { parseSize } from '../../image/index.ts';
import type { Classes, ClassOfUnits } from './classes.ts';
import { FACT_ROWS, type FactRow } from './fact-rows.ts';
import {
  FACT_NAMES,
  type FactName,
  type Place,
  type UnitFacts,
  type UnitMistake,
} from './inventory/facts.ts';
import { ACCEPTANCE_LIMITS } from './limits.ts';
import type { Comparands } from './payload.ts';
import { resolve } from './resolve.ts';

/** Units that are the same to this payload's check, and so get the same answer. */
export interface Group {
  readonly ofClass: ClassOfUnits;
  /** Resolved facts of the first of them; the check is run for it. */
  readonly facts: UnitFacts;
  units: number;
  /** The first few. */
  readonly serials: string[];
  /** Lowest and highest of what is counted. */
  readonly ranges: Map<FactName, Range>;
  /** Units of the group with less energy left than one try and a retry take. */
  lowBattery: number;
  /** Units of the group whose debug port is open. */
  debugOpen: number;
}

export interface Range {
  low: bigint;
  high: bigint;
}

/** Units that could not be read, by what was wrong. */
export interface Unread {
  readonly mistake: Pick<UnitMistake, 'fact' | 'expected'>;
  units: number;
  /** The first few: where, and what was found. */
  readonly examples: { readonly place: Place; readonly serial: string | null; readonly found: string }[];
}

/** Examples that are named of each group. */
const EXAMPLES = 5;
/** Kinds of mistakes that are told apart; the rest is counted together. */
const KINDS = ACCEPTANCE_LIMITS.mistakes.value;
/** Texts remembered of each fact. */
const REMEMBERED = ACCEPTANCE_LIMITS.textsOfAFact.value;

/** No text of a fact holds control characters. */
const SEPARATOR = '\u0001';
const ABSENT = '\u0002';

const NAMES_OF_UNITS: ReadonlySet<FactName> = new Set(['serial', 'device_id', 'decryption_key_id']);

/** Sorts units into groups, one after the other. Memory grows with the groups, not with the units. */
export class Grouping {
  readonly groups = new Map<string, Group>();
  readonly unread = new Map<string, Unread>();
  units = 0;
  readonly #classes: Classes;
  readonly #payload: Comparands;
  readonly #minimumBattery: (facts: UnitFacts) => number | undefined;
  readonly #remembered = new Map<ClassOfUnits, Remembered>();
  readonly #counts = new Map<FactName, Map<string, bigint>>();

  constructor(
    classes: Classes,
    payload: Comparands,
    minimumBattery: (facts: UnitFacts) => number | undefined = () => undefined,
  ) {
    this.#classes = classes;
    this.#payload = payload;
    this.#minimumBattery = minimumBattery;
  }

  /** Takes one unit in; gives its group, or undefined where it cannot be read. */
  add(facts: UnitFacts, place: Place): Group | undefined {
    this.units += 1;
    const ofClass = this.#classes.get(facts.class ?? '');
    if (!facts.serial) return this.#note(facts, place, missing('serial'));
    if (!ofClass) return this.#note(facts, place, this.#noClass(facts));
    const remembered = this.#rememberedOf(ofClass);
    const mistake = remembered.mistakeIn(facts);
    if (mistake) return this.#note(facts, place, mistake);
    const resolved = resolve(facts, ofClass, this.#payload);
    if (!resolved.ok) return this.#note(facts, place, resolved.mistake);
    return this.#join(resolved.facts, ofClass, remembered.keyOf(resolved.facts));
  }

  /** Takes in what stands where a unit should be. */
  addUnread(facts: UnitFacts, place: Place, mistake: UnitMistake): void {
    this.units += 1;
    this.#note(facts, place, mistake);
  }

  #join(facts: UnitFacts, ofClass: ClassOfUnits, key: string): Group {
    let group = this.groups.get(key);
    if (!group) {
      group = { ofClass, facts, units: 0, serials: [], ranges: new Map(), lowBattery: 0, debugOpen: 0 };
      this.groups.set(key, group);
    }
    group.units += 1;
    if (group.serials.length < EXAMPLES) group.serials.push(facts.serial!);
    if (facts.debug === 'open') group.debugOpen += 1;
    const minimum = facts.battery_mwh === undefined ? undefined : this.#minimumBattery(facts);
    if (minimum !== undefined && Number(facts.battery_mwh) < minimum) group.lowBattery += 1;
    for (const name of COUNTED) {
      const told = facts[name];
      if (told !== undefined)
        widen(
          group.ranges,
          name,
          remember(this.#counts, name, told, () => countOf(name, told)),
        );
    }
    return group;
  }

  #note(facts: UnitFacts, place: Place, { fact, expected, found }: UnitMistake): undefined {
    const own = `${fact}\n${expected}`;
    const key = this.unread.has(own) || this.unread.size < KINDS ? own : 'other';
    let unread = this.unread.get(key);
    if (!unread) {
      const mistake = key === own ? { fact, expected } : { fact: 'various', expected: 'what the facts say' };
      unread = { mistake, units: 0, examples: [] };
      this.unread.set(key, unread);
    }
    unread.units += 1;
    if (unread.examples.length < EXAMPLES)
      unread.examples.push({ place, serial: facts.serial ?? null, found: found.slice(0, 80) });
  }

  #noClass({ class: name }: UnitFacts): UnitMistake {
    if (!name) return missing('class');
    const expected = `one of the classes ${[...this.#classes.keys()].slice(0, 20).join(', ')}`;
    return { fact: 'class', expected, found: name };
  }

  #rememberedOf(ofClass: ClassOfUnits): Remembered {
    const known = this.#remembered.get(ofClass);
    if (known) return known;
    const fresh = new Remembered(ofClass, this.#payload);
    this.#remembered.set(ofClass, fresh);
    return fresh;
  }
}

const COUNTED = FACT_NAMES.filter((name) => FACT_ROWS[name].counts);

function countOf(name: FactName, told: string): bigint {
  return BigInt(name === 'slot_size' || name === 'envelope_area_size' ? parseSize(told) : told);
}

function widen(ranges: Map<FactName, Range>, name: FactName, value: bigint): void {
  const range = ranges.get(name);
  if (!range) ranges.set(name, { low: value, high: value });
  else if (value < range.low) range.low = value;
  else if (value > range.high) range.high = value;
}

function missing(fact: FactName): UnitMistake {
  return { fact, expected: FACT_ROWS[fact].expected, found: 'nothing' };
}

/** What was found out about texts of the units of one class, so that each is looked at once. */
class Remembered {
  readonly #ofClass: ClassOfUnits;
  readonly #payload: Comparands;
  readonly #sound = new Map<FactName, Map<string, boolean>>();
  readonly #seen = new Map<FactName, Map<string, string>>();
  readonly #records = new Map<string | undefined, string | undefined>();

  constructor(ofClass: ClassOfUnits, payload: Comparands) {
    this.#ofClass = ofClass;
    this.#payload = payload;
  }

  /** The first fact that is none, or why no unit of that cohort can be judged. */
  mistakeIn(facts: UnitFacts): UnitMistake | undefined {
    for (const name of FACT_NAMES) {
      const told = facts[name];
      if (told !== undefined && !this.#isSound(name, told))
        return { fact: name, expected: FACT_ROWS[name].expected, found: told };
    }
    const fault = this.#faultOf(facts.cohort);
    return fault === undefined
      ? undefined
      : { fact: 'cohort', expected: fault, found: facts.cohort ?? 'nothing' };
  }

  /** The same text for units that are the same to the check. */
  keyOf(facts: UnitFacts): string {
    let key = '';
    for (const [name, row] of SEEN) {
      const told = facts[name];
      key += told === undefined ? ABSENT : this.#seenOf(name, row, told) + SEPARATOR;
    }
    return key;
  }

  #isSound(name: FactName, told: string): boolean {
    const judge = () => FACT_ROWS[name].isOne(told, this.#ofClass);
    return remember(this.#sound, name, told, judge);
  }

  #seenOf(name: FactName, row: Seen, told: string): string {
    return remember(this.#seen, name, told, () => row.seen(told, this.#payload, this.#ofClass));
  }

  #faultOf(cohort: string | undefined): string | undefined {
    if (this.#records.has(cohort)) return this.#records.get(cohort);
    const fault = faultOf(() => this.#ofClass.recordOf(cohort));
    this.#records.set(cohort, fault);
    return fault;
  }
}

type Seen = FactRow & Required<Pick<FactRow, 'seen'>>;
const SEEN = FACT_NAMES.map((name) => [name, FACT_ROWS[name]] as const).filter(
  (entry): entry is readonly [FactName, Seen] => entry[1].seen !== undefined,
);

function faultOf(action: () => unknown): string | undefined {
  try {
    action();
    return undefined;
  } catch (error) {
    return (error as Error).message;
  }
}

function remember<T>(tables: Map<FactName, Map<string, T>>, name: FactName, told: string, find: () => T): T {
  if (NAMES_OF_UNITS.has(name)) return find();
  let table = tables.get(name);
  if (!table) {
    table = new Map();
    tables.set(name, table);
  }
  const known = table.get(told);
  if (known !== undefined) return known;
  const found = find();
  if (table.size < REMEMBERED) table.set(told, found);
  return found;
}
