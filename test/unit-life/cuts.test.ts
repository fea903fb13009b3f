import { describe, expect, test } from 'vitest';
import { bringAndKeep, proveLife } from './cut-proof.ts';
import { RELEASES, THIRD, TWO_SLOTS } from './lives.ts';
import { rigOf } from './rig.ts';

describe('power cuts: genuine firmware starts, the old or the new (draft-ietf-suit-manifest 6.3.1)', () => {
  test('two slots: every operation of a life cut, and every second cut in the start that follows', () => {
    const rig = rigOf({ shape: 'remapped', writeUnit: 16, erased: 0xff });
    const depth = { firstStride: 1, secondStride: 1, seeds: [1], finish: bringAndKeep(THIRD) };
    const tally = proveLife(rig, TWO_SLOTS, RELEASES, depth);
    expect(tally.singles).toBeGreaterThan(1300);
    expect(tally.doubles).toBeGreaterThan(50_000);
  });
});
