/** The shape of `fieldseal.acceptance/1`, which the evidence of a release reads later. */
import * as z from 'zod';

export const ACCEPTANCE_FORMAT = 'fieldseal.acceptance/1';

const sha256Hex = z.string().regex(/^[0-9a-f]{64}$/);
const count = z.int().min(0);

const refusal = z.strictObject({
  code: z.string().describe('The code, out of the closed list of refusals'),
  step: z.string(),
  says: z.string(),
  meaning: z.string(),
  next: z.string(),
  source: z.string(),
});

const range = z.strictObject({ low: z.string(), high: z.string() });

const group = z.strictObject({
  class: z.string(),
  verdict: z
    .enum(['accepted', 'as far as it can be judged', 'refused'])
    .describe(
      'as far as it can be judged: nothing was refuted, but a key that only units hold, or the image, was missing',
    ),
  refusal: refusal.nullable(),
  because: z.string().nullable().describe('What the unit that was asked compared'),
  not_judged: z.string().nullable(),
  units: count,
  serials: z.array(z.string()).describe('The first few'),
  facts: z.record(z.string(), z.string()).describe('Of the unit that was asked'),
  ranges: z
    .record(z.string(), range)
    .describe('Lowest and highest of what is counted, over the units of the group'),
  low_battery: count,
  debug_open: count,
});

const unread = z.strictObject({
  fact: z.string(),
  expected: z.string(),
  units: count,
  examples: z.array(z.strictObject({ line: count, serial: z.string().nullable(), found: z.string() })),
});

const remedy = z.strictObject({
  code: z.string(),
  step: z.string(),
  says: z.string(),
  classes: z.array(z.string()),
  units: count,
  groups: count,
  changes: z.array(z.string()),
});

/** The document of an acceptance. */
export const acceptanceSchema = z.strictObject({
  format: z.literal(ACCEPTANCE_FORMAT),
  outcome: z
    .enum(['everyone accepts', 'some are left behind', 'not all could be judged'])
    .describe('not all could be judged: nobody refuses, but units could not be read or judged to the end'),
  rehearsed: z.iso.datetime(),
  envelope: z.strictObject({ size_bytes: count, sha256: sha256Hex }),
  image: z.strictObject({ size_bytes: count, sha256: sha256Hex }).nullable(),
  manifest_digest: sha256Hex.nullable(),
  sequence_number: z.string().nullable(),
  inventory: z.strictObject({
    size_bytes: count,
    sha256: sha256Hex,
    unused_columns: z.array(z.string()),
  }),
  stand_in_mac: z.boolean().describe('MACs were made again with a throwaway key: no class key is opened'),
  minimum_battery: z.string().nullable().describe('Where the least energy that a unit needs comes from'),
  counts: z.strictObject({
    units: count,
    accepted: count,
    not_judged_to_the_end: count,
    refused: count,
    unread: count,
    groups: count,
    low_battery: count,
    debug_open: count,
  }),
  groups: z.array(group).describe('Most units first; the largest ones where there are very many'),
  remedies: z.array(remedy).describe('The reason that leaves most units behind first'),
  unread: z.array(unread),
});
export type AcceptanceDocument = z.infer<typeof acceptanceSchema>;
