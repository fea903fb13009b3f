import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { arrivalOf, chanceOfAll } from '../../src/plan/cost/arrival.ts';

describe('frames that are lost', () => {
  test('1006 frames at 1 % loss arrive all with a chance of 0.004 %', () => {
    expect(chanceOfAll(1006, 0.01) * 100).toBeCloseTo(0.004, 3);
  });

  test('without a spare frame the chance is (1 - p)^n, and n p frames are lacking', () => {
    const { enough, lacking } = arrivalOf(500, 500, 0.02);
    expect(enough).toBeCloseTo(0.98 ** 500, 12);
    expect(lacking).toBeCloseTo(10, 9);
  });

  test('binomial by hand: 3 sent, 2 needed, half are lost', () => {
    // Lost 0..3 with 1, 3, 3, 1 eighths; lacking 1 at two lost and 2 at three.
    const { enough, lacking } = arrivalOf(3, 2, 0.5);
    expect(enough).toBeCloseTo(4 / 8, 12);
    expect(lacking).toBeCloseTo((3 * 1 + 1 * 2) / 8, 12);
  });

  test('redundancy of 10 % against 1 % loss makes a repair round rare', () => {
    expect(arrivalOf(1006, 915, 0.01).enough).toBeGreaterThan(1 - 1e-12);
    // python3: the sum of comb(1006, i) * F(1, 100)**i * F(99, 100)**(1006 - i) for i to 10, in fractions.
    expect(arrivalOf(1006, 996, 0.01).enough).toBeCloseTo(0.5754968338103836, 10);
  });

  test('nothing is lost on a link without loss', () => {
    expect(arrivalOf(10, 10, 0)).toEqual({ enough: 1, lacking: 0 });
  });

  test('enough is a chance, and what is lacking lies between the mean loss less the spare and the mean loss', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 3000 }),
        fc.integer({ min: 0, max: 300 }),
        fc.double({ min: 0.0001, max: 0.9, noNaN: true }),
        (needed, spare, loss) => {
          const sent = needed + spare;
          const { enough, lacking } = arrivalOf(sent, needed, loss);
          expect(enough).toBeGreaterThanOrEqual(0);
          expect(enough).toBeLessThanOrEqual(1);
          expect(lacking).toBeLessThanOrEqual(sent * loss * (1 + 1e-9));
          expect(lacking).toBeGreaterThanOrEqual((sent * loss - spare) * (1 - 1e-9) - 1e-9);
        },
      ),
    );
  });
});
