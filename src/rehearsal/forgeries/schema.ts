/** The shape of `fieldseal.rehearsal/1`, which the evidence of a release reads later. */
import * as z from 'zod';

export const REHEARSAL_FORMAT = 'fieldseal.rehearsal/1';

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

const row = z.strictObject({
  name: z.string().describe('The name of the forgery'),
  threat: z.string().describe('Threat of RFC 9124 section 4.2 that it embodies'),
  built: z.string().describe('How it is made from the payload'),
  where: z.array(z.string()).describe('What must be given for it to apply'),
  against: z.enum(['unit', 'stand-in', 'sealing']).describe('Who was asked'),
  step: z.string().describe('The step at which it must fall; seal where sealing itself refuses'),
  refusal: z.string().describe('The refusal with which it must fall'),
  outcome: z
    .enum(['passed', 'failed', 'exposed'])
    .describe('exposed: it does not apply here, nothing was tried'),
  heard: z
    .string()
    .nullable()
    .describe('What came of it: a refusal, accepted, incomplete; null where nothing was tried'),
  because: z.string().nullable().describe('Why it failed, or what it means that it does not apply'),
});

const threat = z.strictObject({
  name: z.string(),
  section: z.string(),
  about: z.string(),
  outside: z.string().nullable().describe('Why no row embodies it, where none does'),
  passed: count,
  failed: count,
  exposed: count,
});

/** The document of a rehearsal. */
export const rehearsalSchema = z.strictObject({
  format: z.literal(REHEARSAL_FORMAT),
  outcome: z
    .enum(['passed', 'failed', 'not taken'])
    .describe(
      'passed: every forgery that applies was refused as it must be; not taken: the payload itself is not',
    ),
  rehearsed: z.iso.datetime(),
  envelope: z.strictObject({ size_bytes: count, sha256: sha256Hex }),
  image: z.strictObject({ size_bytes: count, sha256: sha256Hex }).nullable().describe('The detached image'),
  manifest_digest: sha256Hex.nullable(),
  sequence_number: z.string().nullable(),
  unit: z.strictObject({
    class: z.string(),
    serial: z.string(),
    trial: z.boolean(),
    scheme: z.enum(['asymmetric', 'symmetric']),
    profile: z.string(),
    judged_until: z
      .string()
      .describe('Last step that could be judged by the real unit with the keys at hand'),
    swapped: z.array(z.string()).describe('What differs in the stand-in unit'),
  }),
  refusal: refusal.nullable().describe('Why the payload itself is not taken'),
  why: z.string().nullable(),
  counts: z.strictObject({ rows: count, passed: count, failed: count, exposed: count }),
  threats: z.array(threat),
  rows: z.array(row),
});
export type RehearsalDocument = z.infer<typeof rehearsalSchema>;
