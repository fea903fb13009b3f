import { describe, expect, it } from 'vitest';
import { runStretch } from '../../scripts/fuzz/stretch.ts';
import { corpusOf, targetFuzzer } from '../../scripts/fuzz/target-fuzzer.ts';
import { TARGETS } from '../../scripts/fuzz/targets.ts';

const CORPUS = 'test/corpus';
const CASES = 80;
const fuzzer = await targetFuzzer(CORPUS, false);

describe.each(TARGETS.map((target) => [target.name, target] as const))(
  'hostile input: %s',
  (name, target) => {
    it('every seed is taken', async () => {
      for (const seed of await target.seeds()) expect(target.read(seed)).toMatch(/^accepted/);
    });

    it('every kept input ends in a verdict or a refusal of its room', () => {
      const kept = corpusOf(CORPUS, name);
      expect(kept.length).toBeGreaterThan(0);
      for (const [, input] of kept) expect(target.read(input)).not.toBe('');
    });

    it(`${CASES} mutated inputs: nothing else is thrown, and the same cases end the same way`, () => {
      const stretch = { name, seed: 1, from: 0, to: CASES };
      const { counts, violations } = runStretch(fuzzer, stretch, { at: () => {} });
      expect(violations).toEqual([]);
      expect(Object.keys(counts).length).toBeGreaterThan(1);
      expect(runStretch(fuzzer, { ...stretch, to: 20 }, { at: () => {} }).violations).toEqual([]);
    });
  },
);
