/** The rules by which waves open, soak, pass and stop. Pilot first, stop rules written before: common practice. */
import { describe, expect, it } from 'vitest';
import { type Decision, decide } from '../../src/fleet/waves/rules/decide.ts';
import { BEGAN, hours, opened, running, wave } from './plans.ts';

const PASSED = opened({ units: 3, kept: 3 }, { state: 'passed' });
const stopOf = (decision: Decision) => (decision.do === 'stop' ? decision.stop : undefined);

describe('waves', () => {
  it('the pilot opens first, and nothing beside it', async () => {
    expect(decide(await running(), BEGAN)).toMatchObject({ do: 'open', wave: 1 });
  });

  it('nothing opens before it began, while it is paused, and once it was halted', async () => {
    for (const state of ['planned', 'paused', 'halted'] as const)
      expect(decide({ ...(await running()), state }, BEGAN).do).toBe('wait');
  });

  it('an open wave waits for its success, and says until when', async () => {
    const decision = decide(await running(opened({ units: 3, kept: 2 })), hours(1));
    expect(decision).toMatchObject({ do: 'wait', until: hours(14 * 24) });
    expect(decision.why).toContain(
      '2 of 3 units (666 of a thousand) kept the release, the plan asks for 900',
    );
  });

  it('with its success the soak begins; the next wave opens only after it', async () => {
    const kept = { units: 3, kept: 3 };
    expect(decide(await running(opened(kept)), hours(2))).toMatchObject({ do: 'soak', wave: 1 });
    const soaking = opened(kept, { state: 'soaking', since: hours(2) });
    expect(decide(await running(soaking), hours(49.9))).toMatchObject({ do: 'wait', until: hours(50) });
    expect(decide(await running(soaking), hours(50))).toMatchObject({ do: 'pass', wave: 1 });
    expect(decide(await running(PASSED), hours(50))).toMatchObject({ do: 'open', wave: 2 });
  });

  it('a wave whose success is gone after the soak does not pass', async () => {
    const soaking = opened({ units: 10, kept: 8 }, { state: 'soaking', since: hours(2) });
    expect(decide(await running(soaking), hours(60))).toMatchObject({ do: 'wait' });
    expect(stopOf(decide(await running(soaking), hours(14 * 24 + 2)))?.rule).toBe('too-slow');
  });

  it('a pilot of nobody stops; a later wave that the lot leaves empty passes', async () => {
    expect(stopOf(decide(await running(opened({})), hours(1)))?.rule).toBe('nobody');
    expect(decide(await running(PASSED, opened({})), hours(1))).toMatchObject({ do: 'pass', wave: 2 });
  });

  it('after the last wave it is done, and late units are still told', async () => {
    const all = [PASSED, PASSED, PASSED];
    expect(decide(await running(...all), hours(90)).do).toBe('done');
    const late = decide({ ...(await running(...all)), state: 'done' }, hours(9000));
    expect(late).toMatchObject({ do: 'wait', why: expect.stringContaining('late') });
  });
});

describe('stop rules', () => {
  it('fall-backs are a share of the units that answered, so a wave is judged from its first answers', async () => {
    const stop = stopOf(
      decide(await running(PASSED, opened({ units: 1000, fellBack: 1, kept: 4 })), hours(1)),
    );
    expect(stop).toMatchObject({ rule: 'fell-back', count: 1, of: 5, limit: { share: 10, least: 1 } });
    expect(stop?.why).toBe(
      'wave first: 1 of 5 units (200 of a thousand) that answered fell back; the plan stops at more than 10 of a thousand and at least 1',
    );
  });

  it('below the least number a share does not stop, at it it does', async () => {
    const one = await running(PASSED, opened({ units: 1000, refused: 1, kept: 4 }));
    expect(decide(one, hours(1)).do).toBe('wait');
    const two = await running(PASSED, opened({ units: 1000, refused: 2, kept: 4 }));
    expect(stopOf(decide(two, hours(1)))?.rule).toBe('refused');
  });

  it('exactly the share does not stop; more than it does', async () => {
    const exact = await running(PASSED, opened({ units: 1000, refused: 2, kept: 98 }));
    expect(decide(exact, hours(1)).do).toBe('wait');
    const more = await running(PASSED, opened({ units: 1000, refused: 2, kept: 97 }));
    expect(stopOf(decide(more, hours(1)))?.rule).toBe('refused');
  });

  it('silence counts once the silence time has passed since the wave was opened, not before', async () => {
    const quiet = await running(PASSED, opened({ units: 10, silent: 5, kept: 5 }));
    expect(decide(quiet, hours(71)).do).toBe('wait');
    expect(stopOf(decide(quiet, hours(72)))).toMatchObject({ rule: 'silent', count: 5, of: 10 });
  });

  it('a wave that passed still stops what comes after it', async () => {
    const later = opened({ units: 3, kept: 2, fellBack: 1 }, { state: 'passed' });
    const decision = decide(await running(later, opened({ units: 100, kept: 100 })), hours(100));
    expect(decision).toMatchObject({ do: 'stop', wave: 1 });
  });

  it('and so after the last: late units that fall back stop it, late units that sleep do not', async () => {
    const done = async (some: object) => ({
      ...(await running(PASSED, PASSED, opened({ units: 100, kept: 60, ...some }, { state: 'passed' }))),
      state: 'done' as const,
    });
    expect(decide(await done({ fellBack: 2 }), hours(9000)).do).toBe('stop');
    expect(decide(await done({ silent: 40 }), hours(9000)).do).toBe('wait');
  });

  it('what was known when somebody resumed does not stop again; what comes beside it does', async () => {
    const known = { refused: 2, fellBack: 0, silent: 0 };
    const before = opened({ units: 50, refused: 2, kept: 10 }, { known });
    expect(decide(await running(PASSED, before), hours(1)).do).toBe('wait');
    const after = opened({ units: 50, refused: 4, kept: 10 }, { known });
    const stop = stopOf(decide(await running(PASSED, after), hours(1)));
    expect(stop?.why).toContain(
      '2 of 14 units (142 of a thousand) that answered refused, beside 2 that were known',
    );
  });

  it('a wave without its success in the time for it stops, with what it came to', async () => {
    const slow = await running(PASSED, opened({ units: 200, kept: 100 }));
    const stop = stopOf(decide(slow, hours(14 * 24)));
    expect(stop).toMatchObject({ rule: 'too-slow', count: 100, of: 200 });
    expect(stop?.why).toContain('100 of 200 units (500 of a thousand) kept the release after 14 d');
  });

  it('a wave that was stopped goes on once somebody resumed the broadcast, and has its time anew', async () => {
    expect(decide(await running(wave({ state: 'stopped' })), hours(1))).toMatchObject({
      do: 'open',
      wave: 1,
    });
    const again = opened({ units: 200, kept: 100 }, { since: hours(14 * 24) });
    expect(decide(await running(PASSED, again), hours(27 * 24)).do).toBe('wait');
    expect(decide(await running(PASSED, again), hours(28 * 24)).do).toBe('stop');
  });
});
