import { setImmediate } from 'node:timers/promises';
import type { ByteSource } from '../../bytes/index.ts';
import type { Classes } from './classes.ts';
import { Grouping, type Unread } from './grouping.ts';
import type { UnitFacts, UnitSource } from './inventory/facts.ts';
import { answerOf } from './judge.ts';
import { ACCEPTANCE_LIMITS } from './limits.ts';
import { type Comparands, comparandsOf } from './payload.ts';
import { type Judged, type Remedy, remediesFor } from './remedies.ts';
import type { RunningImages } from './running.ts';
import { withStandInMacs } from './stand-ins.ts';

/** What is asked: this payload, of these units. */
export interface AcceptanceRequest {
  readonly envelope: ByteSource;
  /** The image of a detached envelope. */
  readonly image?: ByteSource | undefined;
  /** Images that units may run, for deltas. */
  readonly running?: RunningImages | undefined;
  readonly units: UnitSource;
  readonly classes: Classes;
  /** What clocks of units read. */
  readonly now: Date;
  /** mWh that a unit must have left; undefined where nothing is asked of its cell. */
  readonly minimumBattery?: ((facts: UnitFacts) => number | undefined) | undefined;
  readonly progress?: ((step: AcceptanceProgress) => void) | undefined;
}

export type AcceptanceProgress =
  | { readonly doing: 'reading'; readonly units: number; readonly groups: number }
  | {
      readonly doing: 'asking';
      readonly done: number;
      readonly total: number;
      /** Seconds that are left, by the checks so far; undefined before the first few. */
      readonly secondsLeft: number | undefined;
    };

/** Who would take a payload, who would not and why, and what would change that. */
export interface Acceptance {
  readonly units: number;
  /** Most units first. */
  readonly judged: readonly Judged[];
  readonly unread: readonly Unread[];
  readonly remedies: readonly Remedy[];
  readonly payload: Comparands;
  /** Whether MACs were judged with a stand-in key. */
  readonly standInMac: boolean;
}

/** Groups beyond which a rehearsal is given up. */
const MOST_GROUPS = ACCEPTANCE_LIMITS.groups.value;

/** Checks between two breaths, in which prompts and timers get their turn. */
const BREATH = 16;
const REPORT_EVERY = 10_000;

/** Thrown where an inventory tells more groups apart than memory is kept for. */
export class TooManyGroups extends Error {
  override readonly name = 'TooManyGroups';
  readonly code = 'groups-too-many';
  readonly status = 2;
  readonly hint =
    'name in a columns file which columns are facts; a column that differs from unit to unit is none';

  constructor() {
    super(`the inventory falls into more than ${MOST_GROUPS} groups of units that differ to this payload`);
  }
}

/**
 * Asks every unit of a fleet, once for each group of units that are the same to this payload's checks: groups are made while
 * units are read, then the real check runs once for each. Memory grows with the groups, not with the units. Throws
 * `TooManyGroups`, and what the source of the units throws.
 */
export async function rehearseAcceptance(request: AcceptanceRequest): Promise<Acceptance> {
  const { classes, units, image, running = new Map(), now, minimumBattery, progress = () => {} } = request;
  const payload = comparandsOf(request.envelope, new Set(running.keys()));
  const grouping = new Grouping(classes, payload, minimumBattery);
  for await (const entry of units) {
    if ('mistake' in entry) grouping.addUnread(entry.facts, entry.place, entry.mistake);
    else grouping.add(entry.facts, entry.place);
    if (grouping.groups.size > MOST_GROUPS) throw new TooManyGroups();
    if (grouping.units % REPORT_EVERY === 0)
      progress({ doing: 'reading', units: grouping.units, groups: grouping.groups.size });
  }
  const standIn = withStandInMacs(request.envelope);
  const groups = [...grouping.groups.values()].toSorted((a, b) => b.units - a.units);
  const judged: Judged[] = [];
  const begin = performance.now();
  for (const group of groups) {
    judged.push({ group, answer: answerOf(group, { standIn, image, running, now }) });
    if (judged.length % BREATH !== 0) continue;
    const each = (performance.now() - begin) / 1000 / judged.length;
    const secondsLeft = each * (groups.length - judged.length);
    progress({ doing: 'asking', done: judged.length, total: groups.length, secondsLeft });
    await setImmediate();
  }
  return {
    units: grouping.units,
    judged,
    unread: [...grouping.unread.values()].toSorted((a, b) => b.units - a.units),
    remedies: remediesFor(judged, payload),
    payload,
    standInMac: standIn.replaced,
  };
}
