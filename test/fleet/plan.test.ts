/** The plan of a broadcast as people write it: what it says, and how a mistake in it is told. */
import { describe, expect, it, test } from 'vitest';
import { durationText, secondsOf } from '../../src/fleet/waves/duration.ts';
import { planFromText } from '../../src/fleet/waves/plan/plan.ts';
import { WorkspaceError } from '../../src/workspace/index.ts';
import { PLAN_YAML, plan } from './plans.ts';

async function mistakeOf(text: string): Promise<string> {
  const error = await planFromText(text, 'waves.yaml').then(
    () => undefined,
    (thrown: unknown) => thrown,
  );
  expect(error).toBeInstanceOf(WorkspaceError);
  expect((error as WorkspaceError).code).toBe('file-invalid');
  return (error as WorkspaceError).message;
}

describe('a plan', () => {
  it('gives each wave the rules of the plan, or its own', async () => {
    const { waves } = await plan(PLAN_YAML.replace('    share: 50', '    share: 50\n    success: 990'));
    expect(waves.map(({ name, share, soak, success }) => [name, share, soak, success])).toEqual([
      ['pilot', 0, 172_800, 900],
      ['first', 50, 86_400, 990],
      ['everyone', 1000, 0, 900],
    ]);
    expect(waves[0]!.serials).toEqual(['0001', '0002', '0003']);
    expect(waves[2]!.stop.fellBack).toEqual({ share: 10, least: 1 });
  });

  test.each([
    [
      'silence: 3 d',
      'silence: 3',
      /waves\.yaml:3:\d+: silence: expected a time such as 90 s.*found the number 3/,
    ],
    [
      'share: 50',
      'share: 5000',
      /waves\.yaml:17:\d+: waves\[1\]\.share: expected a whole number from 1 to 1000/,
    ],
    ['share: 50', 'shares: 50', /unknown field shares.*|did you mean share/],
    ['least: 2', 'least: 0', /stop\.refused\.least: expected a whole number from 1/],
    ['share: 50', 'serials: ["0004"]', /waves\[1\]\.serials: only the first wave/],
    ['share: 50', 'soak: 1 h', /waves\[1\]\.share: it says nobody/],
    ['share: 1000', 'share: 50', /waves\[2\]\.share: the wave before has 50.*expected more than 50/],
    ['name: first', 'name: pilot', /waves\[1\]\.name: two waves are called pilot/],
    ['waves:', 'stepping_stones: [9, 9]\nwaves:', /stepping_stones\[1\]:.*expected more than 9/],
    ['success: 900\n', '', /success: expected .*found nothing \(for example success: 950\)/],
  ])('%j written as %j is told with its place and what was expected', async (from, to, says) => {
    expect(await mistakeOf(PLAN_YAML.replace(from, to))).toMatch(says);
  });

  it('a wave that has both serial numbers and a share says two things', async () => {
    const both = PLAN_YAML.replace('    soak: 48 h', '    share: 20');
    expect(await mistakeOf(both)).toContain('by serial numbers or by a share, not both');
  });

  it('durations are read in the units that people write, and told in the largest exact one', () => {
    expect(['90 s', '30min', '12 h', '3d', '5', '1 w', '-1 s', '1.5 h'].map(secondsOf)).toEqual([
      ...[90, 1800, 43_200, 259_200],
      ...[undefined, undefined, undefined, undefined],
    ]);
    expect([90, 5400, 86_400, 0].map(durationText)).toEqual(['90 s', '90 min', '1 d', '0 s']);
  });
});
