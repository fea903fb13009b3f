import { describe, expect, it } from 'vitest';
import { outcomeOf, REASONS, refusalNamed } from '../../src/report/index.ts';
import { REFUSALS, STEPS } from '../../src/unit/index.ts';

describe('[RPT] 4.2: every refusal of a unit has a number and a reason', () => {
  it.each(REFUSALS)('$code', ({ code, step }) => {
    const outcome = outcomeOf(code);
    const { number } = STEPS.find(({ name }) => name === step)!;
    expect(Math.floor(outcome.code / 100)).toBe(number);
    expect(REASONS.has(outcome.reason)).toBe(true);
    expect(refusalNamed(outcome.code, outcome.reason)).toBe(code);
  });

  it('no number stands for two refusals', () => {
    const numbers = REFUSALS.map(({ code }) => outcomeOf(code).code);
    expect(new Set(numbers).size).toBe(REFUSALS.length);
  });

  it('none is called good or pending: a refusal is neither', () => {
    for (const { code } of REFUSALS) expect([0, 12]).not.toContain(outcomeOf(code).reason);
  });

  it('a number with another reason than ours is not one of ours', () => {
    expect(refusalNamed(307, 10)).toBeUndefined();
    expect(refusalNamed(9999, 4)).toBeUndefined();
  });
});
