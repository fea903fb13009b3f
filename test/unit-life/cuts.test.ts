import { describe, expect, test } from 'vitest';
import type { Unit } from '../../src/unit/life.ts';
import { mustInstall, mustKeep, mustStart, type Phase, proveLife } from './cut-proof.ts';
import { imageOf, type Release, release } from './fake-decision.ts';
import { rigOf } from './rig.ts';

const FIRST = release(1, imageOf(200, 1));
const SECOND = release(2, imageOf(130, 2), 1);
const THIRD = release(3, imageOf(256, 3), 1);
const RELEASES = [FIRST, SECOND, THIRD];

/** Brings the last release on board and keeps it, from wherever the unit stands. */
function finish(unit: Unit): void {
  unit.start();
  if (unit.state()!.slots.some(({ state }) => state === 'on trial')) unit.keep();
  if (unit.install({ ...request(THIRD) }).refusal?.code === 'fell-back-before') throw new Error('gave up');
  mustStart(unit, THIRD.number);
  mustKeep(unit);
}

function request({ envelope, image }: Release) {
  const source = (bytes: Uint8Array) => ({
    size: bytes.length,
    read: (offset: number, length: number) => bytes.subarray(offset, offset + length),
  });
  return { envelope: source(envelope), image: source(image) };
}

/** A life on two slots: first image, an update that is kept, a floor, an update that falls back, and again. */
const TWO_SLOTS: readonly Phase[] = [
  {
    name: 'first install',
    act: (unit) => mustInstall(unit, FIRST),
    allowed: ['nothing', 1],
    after: 1,
  },
  { name: 'first start', act: (unit) => mustStart(unit, 1), allowed: [1], after: 1 },
  {
    name: 'keep the first',
    prelude: (unit) => mustStart(unit, 1),
    act: mustKeep,
    allowed: [1],
    after: 1,
  },
  {
    name: 'install the second',
    prelude: (unit) => mustStart(unit, 1),
    act: (unit) => mustInstall(unit, SECOND),
    allowed: [1, 2],
    after: 2,
  },
  {
    name: 'start and keep the second',
    act: (unit) => {
      mustStart(unit, 2);
      mustKeep(unit);
    },
    allowed: [1, 2],
    after: 2,
  },
  {
    name: 'raise the floors',
    prelude: (unit) => mustStart(unit, 2),
    act: (unit) => {
      if (unit.raiseFloors({ signerGeneration: 5 }).refusal) throw new Error('refused');
    },
    allowed: [2],
    after: 2,
  },
  {
    name: 'install the third over the first',
    prelude: (unit) => mustStart(unit, 2),
    act: (unit) => mustInstall(unit, THIRD),
    allowed: [2, 3],
    after: 3,
  },
  { name: 'start the third', act: (unit) => mustStart(unit, 3), allowed: [2, 3], after: 2 },
  { name: 'fall back from the third', act: (unit) => mustStart(unit, 2), allowed: [2], after: 2 },
];

describe('power cuts: genuine firmware starts, the old or the new (draft-ietf-suit-manifest 6.3.1)', () => {
  test('x', () => {
    const t = Date.now();
    const tally = proveLife(rigOf({ shape: 'remapped', writeUnit: 16, erased: 0xff }), TWO_SLOTS, RELEASES, {
      secondStride: 10,
      seeds: [1],
      finish,
    });
    console.log(tally, Date.now() - t);
    expect(tally.singles).toBeGreaterThan(0);
  }, 200_000);
});
