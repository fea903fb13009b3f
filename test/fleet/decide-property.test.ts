/** What holds for every course that a broadcast may take: fleets that answer at random, at random times. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { type Decision, decide } from '../../src/fleet/waves/rules/decide.ts';
import type { BroadcastStanding, WaveCounts, WaveStanding } from '../../src/fleet/waves/rules/standing.ts';
import { stopOf } from '../../src/fleet/waves/rules/stop.ts';
import { BEGAN, plan, wave } from './plans.ts';

const PLAN = await plan();

/** Counts of a wave: every unit in one state at most. The rarer trouble is, the further a course comes. */
const countsOf = (calm: number): fc.Arbitrary<WaveCounts> => {
  const some = (most: number, weight: number) =>
    fc.oneof({ weight: calm, arbitrary: fc.constant(0) }, { weight, arbitrary: fc.nat(most) });
  return fc
    .tuple(some(20, 10), fc.nat(40), some(3, 1), some(3, 1), some(6, 1))
    .map(([waiting, kept, refused, fellBack, silent]) => ({
      units: waiting + kept + refused + fellBack + silent,
      onTrial: 0,
      ...{ kept, refused, fellBack, silent },
    }));
};

/** What the field says at each step, and how many hours pass before it. */
const courseOf = (calm: number) =>
  fc.array(
    fc.tuple(
      fc.oneof({ weight: 5, arbitrary: fc.nat(100) }, { weight: 1, arbitrary: fc.constant(400) }),
      fc.array(countsOf(calm), { minLength: 3, maxLength: 3 }),
    ),
    { maxLength: 40 },
  );
const anyCourse = fc.oneof(courseOf(8), courseOf(40), courseOf(400));

interface Step {
  readonly at: Date;
  readonly before: BroadcastStanding;
  readonly decision: Decision;
}

/** Carries out what is decided, as steering does, along a course. */
function follow(course: readonly (readonly [number, readonly WaveCounts[]])[], paused?: number): Step[] {
  let at = BEGAN.getTime();
  let standing: BroadcastStanding = { plan: PLAN, state: 'running', waves: PLAN.waves.map(() => wave({})) };
  const steps: Step[] = [];
  for (const [nth, [hours, counts]] of course.entries()) {
    at += hours * 3_600_000;
    const told = standing.waves.map((each, i) => ({ ...each, counts: counts[i]! }));
    standing = { ...standing, waves: told, ...(nth === paused && { state: 'halted' as const }) };
    const decision = decide(standing, new Date(at));
    steps.push({ at: new Date(at), before: standing, decision });
    standing = carryOut(standing, decision, new Date(at));
  }
  return steps;
}

function carryOut(standing: BroadcastStanding, decision: Decision, at: Date): BroadcastStanding {
  if (decision.do === 'wait') return standing;
  if (decision.do === 'done') return { ...standing, state: 'done' };
  const changes: Record<'open' | 'soak' | 'pass' | 'stop', Partial<WaveStanding>> = {
    open: { state: 'open', openedAt: at, since: at },
    soak: { state: 'soaking', since: at },
    pass: { state: 'passed' },
    stop: { state: 'stopped' },
  };
  const waves = standing.waves.map((each, i) =>
    i + 1 === decision.wave ? { ...each, ...changes[decision.do] } : each,
  );
  return { ...standing, waves, state: decision.do === 'stop' ? 'paused' : standing.state };
}

const always = (property: (steps: Step[]) => void) =>
  fc.assert(
    fc.property(anyCourse, fc.option(fc.nat(39), { nil: undefined }), (course, halt) =>
      property(follow(course, halt)),
    ),
    {
      numRuns: 2000,
    },
  );

const opens = (steps: Step[]) => steps.filter(({ decision }) => decision.do === 'open');

describe('whatever the field says, and whenever', () => {
  it('no wave is opened while a stop rule of an opened wave holds', () => {
    always((steps) => {
      for (const { before, at } of opens(steps))
        for (const [i, standing] of before.waves.entries())
          if (standing.openedAt) expect(stopOf(PLAN.waves[i]!, standing, at)).toBeUndefined();
    });
  });

  it('waves open in order, each once, and each only after the one before passed', () => {
    always((steps) => {
      expect(opens(steps).map(({ decision }) => 'wave' in decision && decision.wave)).toEqual(
        opens(steps).map((_, i) => i + 1),
      );
      for (const { before, decision } of opens(steps))
        if ('wave' in decision)
          expect(before.waves.slice(0, decision.wave - 1).every(({ state }) => state === 'passed')).toBe(
            true,
          );
    });
  });

  it('no wave passes with units in it before its soak is over and its success is there', () => {
    always((steps) => {
      for (const { before, decision, at } of steps) {
        if (decision.do !== 'pass') continue;
        const rules = PLAN.waves[decision.wave - 1]!;
        const { state, counts, since } = before.waves[decision.wave - 1]!;
        if (counts.units === 0 && decision.wave > 1 && state === 'open') continue;
        expect(at.getTime() - since!.getTime()).toBeGreaterThanOrEqual(rules.soak * 1000);
        expect(counts.kept * 1000).toBeGreaterThanOrEqual(rules.success * counts.units);
      }
    });
  });

  it('the courses come to stops, to later waves and to the end: these properties say something', () => {
    const seen = new Map<string, number>();
    always((steps) => {
      for (const { decision } of steps) {
        const what =
          decision.do === 'stop'
            ? decision.stop.rule
            : decision.do === 'open'
              ? `open ${decision.wave}`
              : decision.do;
        seen.set(what, (seen.get(what) ?? 0) + 1);
      }
    });
    for (const what of [
      'open 1',
      'open 2',
      'open 3',
      'pass',
      'done',
      'refused',
      'fell-back',
      'silent',
      'too-slow',
    ])
      expect([what, seen.get(what) ?? 0]).not.toEqual([what, 0]);
  });

  it('once it was halted or stopped, nothing is opened any more', () => {
    always((steps) => {
      const end = steps.findIndex(({ before }) => before.state === 'halted' || before.state === 'paused');
      if (end >= 0) expect(steps.slice(end).every(({ decision }) => decision.do === 'wait')).toBe(true);
    });
  });

  it('every stop says why, with the count, of how many, and the limit of the plan', () => {
    always((steps) => {
      for (const { decision } of steps) {
        if (decision.do !== 'stop' || decision.stop.rule === 'nobody') continue;
        const { count, of, limit, why } = decision.stop;
        expect(why).toContain(`${count} of ${of} unit`);
        expect(why).toContain(`${limit.share} of a thousand`);
      }
    });
  });

  it('silence stops nothing before the silence time since the wave was opened', () => {
    always((steps) => {
      for (const { before, decision, at } of steps) {
        if (decision.do !== 'stop' || decision.stop.rule !== 'silent') continue;
        const { openedAt } = before.waves[decision.wave - 1]!;
        expect(at.getTime() - openedAt!.getTime()).toBeGreaterThanOrEqual(
          PLAN.waves[decision.wave - 1]!.silence * 1000,
        );
      }
    });
  });
});
