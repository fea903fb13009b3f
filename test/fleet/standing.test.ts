import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { NOTHING_HEARD, orderOf, standingAfter } from '../../src/fleet/store/standing.ts';
import type { UnitReport } from '../../src/fleet/store/types.ts';
import { anyReports, aReport, OFFERED, OTHER } from './reports.ts';

const amountOf = (reports: readonly UnitReport[], offered: string | undefined = OFFERED) =>
  reports.reduce((standing, report) => standingAfter(standing, report, offered), NOTHING_HEARD);

const inOrder = (reports: readonly UnitReport[]) =>
  reports.toSorted((a, b) => (orderOf(a) < orderOf(b) ? -1 : 1));

describe('what the reports of a unit amount to', () => {
  test('does not depend on the order in which they come, nor on how often', () => {
    fc.assert(
      fc.property(
        anyReports.chain((reports) =>
          fc.tuple(
            fc.constant(reports),
            fc.shuffledSubarray([...reports, ...reports], { minLength: reports.length * 2 }),
          ),
        ),
        ([reports, delivered]) => {
          expect(amountOf(delivered)).toEqual(amountOf(inOrder(reports)));
        },
      ),
    );
  });

  test('is what the newest of those that came say, whatever was lost', () => {
    fc.assert(
      fc.property(
        anyReports.chain((all) => fc.shuffledSubarray(all, { minLength: 1 })),
        (delivered) => {
          const newest = inOrder(delivered).at(-1)!;
          const { heard, ended } = amountOf(delivered);
          expect(heard).toEqual({ order: orderOf(newest), at: newest.at });
          const about = inOrder(delivered).filter(({ manifestDigest }) => manifestDigest === OFFERED);
          expect(ended?.order).toBe(about.length === 0 ? undefined : orderOf(about.at(-1)!));
        },
      ),
    );
  });

  test('a unit that never ran anything fell back from nothing: it says why it starts nothing', () => {
    const refusal = { step: 'start', code: 'nothing-to-start' };
    const empty = aReport({ outcome: 'failed', manifestDigest: undefined, refusal });
    expect(standingAfter(NOTHING_HEARD, empty, undefined).ended).toMatchObject({ state: 'refused', refusal });
    const bricked = aReport({ outcome: 'failed', refusal });
    expect(amountOf([bricked]).ended).toMatchObject({ state: 'fell-back', refusal });
  });

  test('a report without an age replaces none that has one', () => {
    const { ended } = amountOf([
      aReport({ age: 0, outcome: 'success' }),
      aReport({ age: undefined, outcome: 'pending' }),
    ]);
    expect(ended?.state).toBe('kept');
  });

  test('a refusal of something else leaves the unit where it stands with what it was offered', () => {
    const { ended, runs } = amountOf([
      aReport({ age: 5, outcome: 'success' }),
      aReport({
        age: 6,
        outcome: 'failed',
        manifestDigest: OTHER,
        refusal: { step: 'authentication', code: 'signature-wrong' },
      }),
    ]);
    expect(ended?.state).toBe('kept');
    expect(runs?.digest).toBe(OFFERED);
  });

  test.each([
    ['start', 'stored-image-wrong', 'fell-back'],
    ['keep', 'trial-ran-out', 'fell-back'],
    ['freshness', 'fell-back-before', 'fell-back'],
    ['freshness', 'sequence-number-too-low', 'refused'],
    ['fit', 'image-too-large', 'refused'],
  ])('a failure at %s, %s: %s', (step, code, state) => {
    expect(amountOf([aReport({ outcome: 'failed', refusal: { step, code } })]).ended?.state).toBe(state);
  });
});
