import { describe, expect, test } from 'vitest';
import { equal } from '../../src/bytes/index.ts';
import { PowerCut } from '../../src/unit/flash.ts';
import type { CutKind } from '../../src/unit/flash-emulated.ts';
import { memoryStore, type Store } from '../../src/unit/flash-pages.ts';
import type { Unit } from '../../src/unit/life.ts';
import type { VolatileMemory } from '../../src/unit/life-board.ts';
import { bringAndKeep, mustInstall, mustKeep, mustStart } from './cut-proof.ts';
import { imageOf, type Release, release, requestOf } from './fake-decision.ts';
import { FIRST, RELEASES, SECOND } from './lives.ts';
import { seededNoise } from './noise.ts';
import { RECOVERY, type Rig, type RigOptions, rigOf, runningBytes } from './rig.ts';

const KINDS: readonly CutKind[] = ['before', 'middle', 'middle', 'after'];
const SHAPES: readonly RigOptions[] = [
  { shape: 'remapped', writeUnit: 16, erased: 0xff },
  { shape: 'linked', writeUnit: 8, erased: 0x00 },
  { shape: 'staged', writeUnit: 16, erased: 0xff, recovery: true },
  { shape: 'staged', writeUnit: 16, erased: 0x00 },
];

/** A unit in a storm: power goes away again and again, at any place, whatever it is doing. */
class Storm {
  readonly #rig: Rig;
  readonly #store: ReturnType<typeof memoryStore>;
  readonly #noise: () => number;
  readonly #memory: VolatileMemory = { running: undefined };
  readonly #releases: Release[] = [FIRST];
  /** Highest floor that was told to anyone. */
  #floor = 0n;
  #everKept = false;
  cuts = 0;

  constructor(options: RigOptions, seed: number) {
    this.#rig = rigOf(options);
    this.#store = memoryStore(this.#rig.storeSize, this.#rig.begin());
    this.#noise = seededNoise(seed);
  }

  session(): void {
    const after = Math.floor(this.#noise() ** 2 * 150);
    const kind = KINDS[Math.floor(this.#noise() * KINDS.length)]!;
    const { unit } = this.#rig.power(this.#store, this.#noise, { after, kind }, this.#memory);
    try {
      unit.start();
      this.#note(unit);
      for (let acts = Math.floor(this.#noise() * 3); acts > 0; acts--) this.#act(unit);
    } catch (error) {
      if (!(error instanceof PowerCut)) throw error;
      this.cuts++;
    }
  }

  #act(unit: Unit): void {
    const drawn = this.#noise();
    if (drawn < 0.3)
      this.#releases.push(
        release(this.#releases.length + 1, imageOf(40 + Math.floor(drawn * 700), this.#releases.length)),
      );
    if (drawn < 0.6) unit.install(requestOf(this.#releases.at(-1)!));
    else this.#everKept = unit.keep().refusal === null || this.#everKept;
    this.#note(unit);
  }

  #note(unit: Unit): void {
    const floor = unit.state()!.floors.sequenceNumber;
    expect(floor).toBeGreaterThanOrEqual(this.#floor);
    this.#floor = floor;
  }

  /** In calm: genuine firmware runs, and the next release can be brought on board and kept. */
  calm(): void {
    const { unit, flash } = this.#rig.power(this.#store, this.#noise);
    const { started } = unit.start();
    this.#note(unit);
    if (this.#everKept) expect(started).not.toBeNull();
    if (!started) return;
    const number = started.facts && Number(started.facts.sequenceNumber);
    const genuine = number ? this.#releases[number - 1]!.image : RECOVERY;
    expect(equal(runningBytes(unit, flash, started.image, genuine.length), genuine)).toBe(true);
  }

  end(): void {
    const next = release(this.#releases.length + 1, imageOf(99, 77));
    this.#releases.push(next);
    bringAndKeep(next)(this.#rig.power(this.#store, this.#noise).unit);
    mustStart(this.#rig.power(this.#store, this.#noise).unit, next.number);
  }
}

describe('storms: any number of cuts in a row', () => {
  test.each(SHAPES)('$shape, write unit $writeUnit, erased value $erased, recovery $recovery', (options) => {
    let cuts = 0;
    for (let seed = 1; seed <= 60; seed++) {
      const storm = new Storm(options, seed);
      for (let session = 0; session < 40; session++) {
        storm.session();
        if (session % 4 === 3) storm.calm();
      }
      storm.end();
      cuts += storm.cuts;
    }
    expect(cuts).toBeGreaterThan(500);
  });
});

/** A store whose process dies at a certain write, or half-way through it. */
function dyingStore(store: Store, writes: number, half: boolean): Store {
  let left = writes;
  return {
    ...store,
    write: (offset, bytes) => {
      if (left-- > 0) return store.write(offset, bytes);
      if (half) store.write(offset, bytes.subarray(0, bytes.length >> 1));
      throw new Error('killed');
    },
  };
}

describe('a process that is killed anywhere leaves what a power cut could leave', () => {
  const ACTS: readonly { name: string; before: (unit: Unit) => void; act: (unit: Unit) => void }[] = [
    { name: 'install', before: bringAndKeep(FIRST), act: (unit) => mustInstall(unit, SECOND) },
    {
      name: 'start and keep',
      before: (unit) => {
        bringAndKeep(FIRST)(unit);
        mustInstall(unit, SECOND);
      },
      act: (unit) => {
        mustStart(unit, 2);
        mustKeep(unit);
      },
    },
  ];

  for (const options of [SHAPES[0]!, SHAPES[3]!]) {
    test.each(ACTS)(`${options.shape}, erased value ${options.erased}: $name`, ({ before, act }) => {
      const rig = rigOf(options);
      const ready = memoryStore(rig.storeSize, rig.begin());
      before(rig.power(ready, seededNoise(1)).unit);
      const floor = rig.power(ready, seededNoise(1)).unit.state()!.floors.sequenceNumber;
      let killed = 0;
      for (let writes = 0; writes === killed; writes++) {
        for (const half of [false, true]) {
          const store = memoryStore(rig.storeSize, ready.bytes);
          try {
            act(rig.power(dyingStore(store, writes, half), seededNoise(1)).unit);
          } catch (error) {
            if (!(error instanceof Error && error.message === 'killed')) throw error;
            killed = writes + 1;
          }
          startsGenuine(rig, store, floor);
        }
      }
      expect(killed).toBeGreaterThan(20);
    });
  }

  function startsGenuine(rig: Rig, store: Store, floor: bigint): void {
    const { unit, flash } = rig.power(store, seededNoise(2));
    const { started } = unit.start();
    const { image } = RELEASES[Number(started!.facts!.sequenceNumber) - 1]!;
    expect(equal(runningBytes(unit, flash, started!.image, image.length), image)).toBe(true);
    expect(unit.state()!.floors.sequenceNumber).toBeGreaterThanOrEqual(floor);
    bringAndKeep(RELEASES[2]!)(rig.power(store, seededNoise(3)).unit);
  }
});
