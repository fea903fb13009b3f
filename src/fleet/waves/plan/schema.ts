import * as z from 'zod';
import { DURATION, secondsOf } from '../duration.ts';

/** Format of a broadcast plan and its version. */
export const PLAN_FORMAT = 'fieldseal.broadcast-plan/1';
/** Of a thousand: shares and rates are told as announcements tell them. */
export const WHOLE = 1000;
/** Most units that an announcement names. */
const MOST_NAMED = 256;

const group = <T extends z.core.$ZodLooseShape>(about: string, shape: T) =>
  z
    .strictObject(shape, {
      error: (issue) => (issue.code === 'invalid_type' ? 'a group of fields' : undefined),
    })
    .meta({ description: about });

const text = (about: string, example: string, longest = 64) =>
  z
    .string({ error: 'text; put it in quotes so that YAML does not read it as a number' })
    .min(1, { error: 'text of at least one character' })
    .max(longest, { error: `text of at most ${longest} characters` })
    .refine((value) => !/\p{Cc}/u.test(value), { error: 'text without control characters' })
    .meta({ description: about, examples: [example] });

const whole = (about: string, least: number, most: number, example: number) => {
  const says = `a whole number from ${least} to ${most}`;
  return z
    .int({ error: says })
    .min(least, { error: says })
    .max(most, { error: says })
    .meta({ description: about, examples: [example] });
};

const duration = (about: string, example: string) =>
  z
    .string({ error: DURATION })
    .refine((value) => secondsOf(value) !== undefined, { error: DURATION })
    .transform((value) => secondsOf(value)!)
    .meta({ description: about, examples: [example] });

const limit = (about: string, share: number, least: number) =>
  group(about, {
    share: whole('Of a thousand; more than this stops.', 0, WHOLE, share),
    least: whole(
      'And at least so many units, so that one of three is not a third of the fleet.',
      1,
      1_000_000,
      least,
    ),
  });

const stop = group('When a wave stops by itself, and the offer is taken back.', {
  refused: limit('Units that refused, of those that answered.', 20, 2),
  fell_back: limit('Units whose self-test failed and that went back, of those that answered.', 10, 1),
  silent: limit('Units of the wave that were not heard of for the silence time.', 100, 5),
});

const name = z
  .string({ error: 'a short name in lower case' })
  .regex(/^[a-z0-9][a-z0-9-]{0,62}$/, { error: 'a short name in lower case' })
  .meta({ description: 'Name of the wave, as announcements tell it.', examples: ['pilot'] });

const waveRules = {
  soak: duration('How long it is watched after its success, before the next wave opens.', '24 h'),
  success: whole('How many of a thousand units of the wave must have kept the release.', 1, WHOLE, 950),
  within: duration('How long it may take to its success; then it stops.', '14 d'),
  silence: duration('How long a unit may be unheard of before it counts as silent.', '3 d'),
  stop,
};

const wave = group('A wave: whom it reaches, and rules of its own.', {
  name,
  serials: z
    .array(text('Serial number.', '0001', 128), { error: 'a list of serial numbers' })
    .min(1, { error: 'at least one serial number' })
    .max(MOST_NAMED, { error: `at most ${MOST_NAMED} serial numbers` })
    .meta({ description: 'These units by name; only in the first wave.', examples: [['0001', '0002']] })
    .optional(),
  share: whole(
    'Of a thousand units, drawn by lot; it holds whom an earlier wave held.',
    1,
    WHOLE,
    50,
  ).optional(),
  soak: waveRules.soak.optional(),
  success: waveRules.success.optional(),
  within: waveRules.within.optional(),
  silence: waveRules.silence.optional(),
  stop: stop.optional(),
});

/** Schema of a broadcast plan, as people write it. */
export const planSchema = group(
  'How a release goes out: whom it reaches in which order, and what stops it.',
  {
    format: z
      .literal(PLAN_FORMAT, { error: PLAN_FORMAT })
      .meta({ description: 'Format of this file and its version.', examples: [PLAN_FORMAT] }),
    class: text('The device class.', 'vent'),
    ...waveRules,
    announced_for: duration('How long an announcement stands; it is renewed at half of it.', '14 d'),
    condition: text(
      'Name of a condition that a unit must be told is met before it installs.',
      'vents-closed',
    ).optional(),
    stepping_stones: z
      .array(whole('Sequence number of a release.', 1, Number.MAX_SAFE_INTEGER, 9), {
        error: 'a list of sequence numbers',
      })
      .max(4, { error: 'at most 4 stepping stones' })
      .meta({
        description: 'Releases that a unit takes first while it runs something older.',
        examples: [[9]],
      })
      .optional(),
    unpiloted_hardware: z
      .array(text('Hardware revision, as the fleet store has it.', 'B'), { error: 'a list of revisions' })
      .meta({
        description: 'Hardware revisions that go without a pilot unit, on purpose.',
        examples: [['B']],
      })
      .optional(),
    waves: z
      .array(wave, { error: 'a list of waves' })
      .min(1, { error: 'at least one wave' })
      .max(64, { error: 'at most 64 waves' }),
  },
);

/** A broadcast plan as written, with durations in seconds. */
export type PlanFile = z.output<typeof planSchema>;
