import { describe, expect, test } from 'vitest';
import type { SlotShape } from '../../src/image/index.ts';
import { bringAndKeep, proveLife } from './cut-proof.ts';
import { RELEASES, SECOND, stagedLife, THIRD, TWO_SLOTS } from './lives.ts';
import { rigOf } from './rig.ts';

interface Case {
  readonly shape: SlotShape;
  readonly writeUnit: number;
  readonly erased: number;
  readonly recovery?: boolean;
  readonly components?: number;
  readonly firstStride: number;
  readonly secondStride: number;
  readonly seeds: readonly number[];
  readonly singles: number;
}

const CASES: readonly Case[] = [
  {
    shape: 'remapped',
    components: 1,
    writeUnit: 16,
    erased: 0xff,
    firstStride: 1,
    secondStride: 67,
    seeds: [12],
    singles: 1300,
  },
  {
    shape: 'linked',
    components: 2,
    writeUnit: 8,
    erased: 0x00,
    firstStride: 5,
    secondStride: 211,
    seeds: [13],
    singles: 600,
  },
  {
    shape: 'remapped',
    writeUnit: 16,
    erased: 0x00,
    firstStride: 1,
    secondStride: 41,
    seeds: [2, 3],
    singles: 2600,
  },
  {
    shape: 'linked',
    writeUnit: 8,
    erased: 0xff,
    firstStride: 1,
    secondStride: 61,
    seeds: [5],
    singles: 2000,
  },
  {
    shape: 'position-independent',
    writeUnit: 4,
    erased: 0x00,
    firstStride: 3,
    secondStride: 101,
    seeds: [6],
    singles: 1000,
  },
  {
    shape: 'remapped',
    writeUnit: 1,
    erased: 0xff,
    firstStride: 11,
    secondStride: 211,
    seeds: [7],
    singles: 900,
  },
  {
    shape: 'staged',
    recovery: true,
    writeUnit: 16,
    erased: 0xff,
    firstStride: 1,
    secondStride: 29,
    seeds: [8],
    singles: 1000,
  },
  {
    shape: 'staged',
    recovery: false,
    writeUnit: 16,
    erased: 0x00,
    firstStride: 1,
    secondStride: 29,
    seeds: [10],
    singles: 700,
  },
];

describe('power cuts: every slot shape, other write units and erased values, other readings of unstable bits', () => {
  test.each(CASES)(
    '$shape, write unit $writeUnit, erased value $erased, recovery $recovery, further components $components',
    (each) => {
      const staged = each.shape === 'staged';
      const last = staged ? SECOND : THIRD;
      const phases = staged ? stagedLife(each.recovery === true) : TWO_SLOTS;
      const releases = RELEASES.slice(0, last.number);
      const tally = proveLife(rigOf(each), phases, releases, { ...each, finish: bringAndKeep(last) });
      expect(tally.singles).toBeGreaterThan(each.singles);
    },
  );
});
