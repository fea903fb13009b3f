import { expect } from 'vitest';
import { equal } from '../../src/bytes/index.ts';
import { PowerCut } from '../../src/unit/flash.ts';
import type { Cut, CutKind } from '../../src/unit/flash-emulated.ts';
import { memoryStore } from '../../src/unit/flash-pages.ts';
import type { Unit } from '../../src/unit/life.ts';
import type { RunningImage } from '../../src/unit/life-board.ts';
import { furtherImage, type Release, requestOf } from './fake-decision.ts';
import { seededNoise } from './noise.ts';
import { furtherBytes, RECOVERY, type Rig, runningBytes } from './rig.ts';

/** What may run after a cut: a release by its number, the recovery image, or nothing. */
export type Outcome = number | 'recovery' | 'nothing';

/** One step of a unit's life, done under power that may go away. */
export interface Phase {
  readonly name: string;
  /** Undisturbed, in the same session, before `act`. */
  readonly prelude?: (unit: Unit) => void;
  readonly act: (unit: Unit) => void;
  /** What a start may give after any cut in `act`. */
  readonly allowed: readonly Outcome[];
  /** What the second start after it may give, or one after a second cut; default `allowed`. */
  readonly allowedTwice?: readonly Outcome[];
  /** What a start gives once `act` came to its end. */
  readonly after: Outcome;
}

interface Snapshot {
  readonly bytes: Uint8Array;
  readonly floor: bigint;
}

/** A state in which something may run already. */
interface Started extends Snapshot {
  readonly running: RunningImage | undefined;
}

export interface Tally {
  singles: number;
  doubles: number;
}

/**
 * How thoroughly to cut: every `firstStride`-th operation (1: all of them), then every `secondStride`-th of the start
 * that follows; with `seeds` other readings of what is unstable.
 */
export interface Depth {
  readonly firstStride: number;
  readonly secondStride: number;
  readonly seeds: readonly number[];
  /** After every first cut: brings the last release on board and keeps it. */
  readonly finish: (unit: Unit) => void;
}

/** Runs a life, and at each of its phases cuts every operation before, in the middle and after. */
export function proveLife(
  rig: Rig,
  phases: readonly Phase[],
  releases: readonly Release[],
  depth: Depth,
): Tally {
  const tally = { singles: 0, doubles: 0 };
  let snapshot: Snapshot = { bytes: rig.begin(), floor: 0n };
  for (const phase of phases) {
    for (const seed of depth.seeds) {
      const proof = new PhaseProof(rig, phase, releases, depth, seededNoise(seed), tally);
      proof.everyCut(snapshot);
    }
    snapshot = whole(rig, phase, snapshot);
  }
  return tally;
}

/** The phase without a cut. */
function whole(rig: Rig, phase: Phase, { bytes }: Snapshot): Snapshot {
  const store = memoryStore(bytes.length, bytes);
  const { unit } = rig.power(store, seededNoise(1));
  phase.prelude?.(unit);
  phase.act(unit);
  return { bytes: store.bytes, floor: unit.state()!.floors.sequenceNumber };
}

class PhaseProof {
  readonly #rig: Rig;
  readonly #phase: Phase;
  readonly #releases: readonly Release[];
  readonly #depth: Depth;
  readonly #noise: () => number;
  readonly #tally: Tally;

  constructor(
    rig: Rig,
    phase: Phase,
    releases: readonly Release[],
    depth: Depth,
    noise: () => number,
    tally: Tally,
  ) {
    this.#rig = rig;
    this.#phase = phase;
    this.#releases = releases;
    this.#depth = depth;
    this.#noise = noise;
    this.#tally = tally;
  }

  everyCut(before: Snapshot): void {
    const started = this.#prelude(before);
    const operations = this.#count(started);
    for (let after = 0; after < operations; after += this.#depth.firstStride) {
      for (const kind of kindsAt(after)) {
        const cut = { after, kind };
        this.#within(`cut ${kind} operation ${after} of ${operations}`, () => this.#oneCut(started, cut));
      }
    }
    this.#ends(started);
  }

  /** The state after the prelude, and what runs then. */
  #prelude({ bytes, floor }: Snapshot): Started {
    const store = memoryStore(bytes.length, bytes);
    const memory = { running: undefined as RunningImage | undefined };
    this.#phase.prelude?.(this.#rig.power(store, this.#noise, undefined, memory).unit);
    return { bytes: store.bytes, floor, running: memory.running };
  }

  #count(started: Started): number {
    const store = memoryStore(started.bytes.length, started.bytes);
    const { unit, flash } = this.#rig.power(store, this.#noise, undefined, { running: started.running });
    this.#phase.act(unit);
    return flash.operations;
  }

  #ends(started: Started): void {
    const store = memoryStore(started.bytes.length, started.bytes);
    const { unit } = this.#rig.power(store, this.#noise, undefined, { running: started.running });
    this.#phase.act(unit);
    const { floors } = unit.state()!;
    this.#start(store.bytes, floors.sequenceNumber, [this.#phase.after]);
  }

  #oneCut(started: Started, cut: Cut): void {
    const store = memoryStore(started.bytes.length, started.bytes);
    const { unit } = this.#rig.power(store, this.#noise, cut, { running: started.running });
    expect(() => this.#phase.act(unit)).toThrow(PowerCut);
    this.#tally.singles++;
    this.#everySecondCut(store.bytes, started.floor);
    const first = this.#start(store.bytes, started.floor, this.#phase.allowed);
    const again = this.#start(first.bytes, first.floor, this.#phase.allowedTwice ?? this.#phase.allowed);
    this.#finish(again.bytes, again.floor);
  }

  #everySecondCut(bytes: Uint8Array, floor: bigint): void {
    for (let after = 0; ; after++) {
      const kinds = after % this.#depth.secondStride === 0 ? kindsAt(after) : [];
      for (const kind of kinds) {
        const store = memoryStore(bytes.length, bytes);
        if (!cutStart(this.#rig, store, this.#noise, { after, kind })) return;
        this.#tally.doubles++;
        const allowed = this.#phase.allowedTwice ?? this.#phase.allowed;
        this.#within(`second cut ${kind} operation ${after}`, () => this.#start(store.bytes, floor, allowed));
      }
    }
  }

  /** A start with nothing in its way gives genuine firmware that may run, and floors that did not fall. */
  #start(bytes: Uint8Array, floor: bigint, allowed: readonly Outcome[]): Snapshot {
    const store = memoryStore(bytes.length, bytes);
    const { unit, flash } = this.#rig.power(store, this.#noise);
    const { started } = unit.start();
    const number = started?.facts ? Number(started.facts.sequenceNumber) : undefined;
    const outcome: Outcome = number ?? (started ? 'recovery' : 'nothing');
    if (!allowed.includes(outcome)) expect({ started: outcome }).toEqual({ started: allowed });
    if (started) {
      const genuine = this.#releases.find((release) => release.number === number)?.image ?? RECOVERY;
      const held = runningBytes(unit, flash, started.image, genuine.length);
      if (!equal(held, genuine)) throw new Error(`release ${outcome} runs with changed bytes`);
      for (const [i, area] of furtherBytes(unit, flash, started.image).entries()) {
        const own = furtherImage(number!, i);
        if (!equal(area.subarray(0, own.length), own))
          throw new Error(`release ${outcome} runs with another ${i}`);
      }
    }
    const now = unit.state()!.floors.sequenceNumber;
    if (now < floor) throw new Error(`the floor fell from ${floor} to ${now}`);
    return { bytes: store.bytes, floor: now };
  }

  #finish(bytes: Uint8Array, floor: bigint): void {
    const store = memoryStore(bytes.length, bytes);
    this.#depth.finish(this.#rig.power(store, this.#noise).unit);
    this.#start(store.bytes, floor, [this.#releases.at(-1)!.number]);
  }

  #within(what: string, body: () => void): void {
    try {
      body();
    } catch (error) {
      if (error instanceof Error) error.message = `${this.#phase.name}, ${what}: ${error.message}`;
      throw error;
    }
  }
}

/** After operation n is where before operation n + 1 is, so `before` adds something for the first one only. */
function kindsAt(after: number): readonly CutKind[] {
  return after === 0 ? ['before', 'middle', 'after'] : ['middle', 'after'];
}

/** Whether the power went away during this start. */
function cutStart(rig: Rig, store: ReturnType<typeof memoryStore>, noise: () => number, cut: Cut): boolean {
  try {
    rig.power(store, noise, cut).unit.start();
    return false;
  } catch (error) {
    if (error instanceof PowerCut) return true;
    throw error;
  }
}

/** Brings a release on board and keeps it, from wherever the unit stands. */
export function bringAndKeep(release: Release): (unit: Unit) => void {
  return (unit) => {
    unit.start();
    if (unit.state()!.slots.some(({ state }) => state === 'on trial')) mustKeep(unit);
    mustInstall(unit, release);
    unit.start();
    mustKeep(unit);
  };
}

/** Installs until it is ready; fails the test where the unit says no. */
export function mustInstall(unit: Unit, release: Release): void {
  const { refusal } = unit.install(requestOf(release));
  if (refusal) throw new Error(`install of ${release.number} refused: ${refusal.code}`);
}

/** Starts; fails the test where nothing, or something else, starts. */
export function mustStart(unit: Unit, outcome: Outcome): void {
  const { started } = unit.start();
  const found = started?.facts ? Number(started.facts.sequenceNumber) : started ? 'recovery' : 'nothing';
  if (found !== outcome) throw new Error(`started ${found} instead of ${outcome}`);
}

/** Keeps; fails the test where the unit says no. */
export function mustKeep(unit: Unit): void {
  const { refusal } = unit.keep();
  if (refusal) throw new Error(`keep refused: ${refusal.code}`);
}
