import { describe, expect, test } from 'vitest';
import { equal } from '../../src/bytes/index.ts';
import { memoryStore } from '../../src/unit/flash-pages.ts';
import type { Unit } from '../../src/unit/life.ts';
import { bringAndKeep, mustInstall, mustStart, type Outcome } from './cut-proof.ts';
import { FIRST, RELEASES, SECOND } from './lives.ts';
import { seededNoise } from './noise.ts';
import { RECOVERY, type Rig, rigOf, runningBytes } from './rig.ts';

interface Standing {
  readonly name: string;
  readonly reach: (unit: Unit) => void;
  /** Floor of the sequence number that no single byte may bring down. */
  readonly floor: bigint;
}

const STANDINGS: readonly Standing[] = [
  { name: 'first kept', reach: bringAndKeep(FIRST), floor: 1n },
  {
    name: 'second ready',
    reach: (unit) => {
      bringAndKeep(FIRST)(unit);
      mustInstall(unit, SECOND);
    },
    floor: 1n,
  },
  {
    name: 'second on trial',
    reach: (unit) => {
      bringAndKeep(FIRST)(unit);
      mustInstall(unit, SECOND);
      mustStart(unit, 2);
    },
    floor: 1n,
  },
  {
    name: 'second kept',
    reach: (unit) => {
      bringAndKeep(FIRST)(unit);
      bringAndKeep(SECOND)(unit);
    },
    floor: 2n,
  },
];

describe('any byte of the flash changed: genuine firmware or a refusal (RFC 9124 section 4.2)', () => {
  for (const shape of ['remapped', 'staged'] as const) {
    for (const recovery of [false, true]) {
      test.each(STANDINGS)(`${shape}, recovery ${recovery}: $name`, ({ reach, floor }) => {
        const rig = rigOf({ shape, writeUnit: 8, erased: 0xff, recovery });
        const store = memoryStore(rig.storeSize, rig.begin());
        reach(rig.power(store, seededNoise(1)).unit);
        for (let at = 0; at < rig.flashSize; at++) {
          for (const change of [1 << (at % 8), 0xff]) changeByte(rig, store.bytes, at, change, floor);
        }
      });
    }
  }

  function changeByte(rig: Rig, bytes: Uint8Array, at: number, change: number, floor: bigint): void {
    const store = memoryStore(bytes.length, bytes);
    store.bytes[at]! ^= change;
    const { unit, flash } = rig.power(store, seededNoise(1));
    const { started, refusal } = unit.start();
    expect(refusal === null).toBe(started !== null);
    if (started) {
      const number: Outcome = started.facts ? Number(started.facts.sequenceNumber) : 'recovery';
      const genuine = number === 'recovery' ? RECOVERY : RELEASES[number - 1]!.image;
      const same = equal(runningBytes(unit, flash, started.image, genuine.length), genuine);
      if (!same) throw new Error(`byte ${at} changed by ${change}: changed bytes of ${number} run`);
    }
    const held = unit.state()!.floors.sequenceNumber;
    if (held < floor) throw new Error(`byte ${at} changed by ${change}: the floor fell to ${held}`);
  }
});
