/** The shape of a decision record, `fieldseal.trust-plan/1`. */
import * as z from 'zod';
import { FIGURE_SOURCES } from '../figures/figure.ts';
import { WEIGHTS } from './findings.ts';

export const TRUST_PLAN_FORMAT = 'fieldseal.trust-plan/1';

const count = z.int().min(0);
const number = z.number().min(0);

const figure = z.strictObject({
  name: z.string(),
  value: z.number(),
  unit: z.string(),
  source: z.enum(FIGURE_SOURCES),
  origin: z.string(),
});

const alternative = z.strictObject({
  profile: z.string(),
  scheme: z.enum(['asymmetric', 'symmetric']),
  authentication: z.string(),
  chosen: z.boolean(),
  added_bytes: count.describe('How much larger a release is than its image'),
  seal_bytes: count.describe('Of it: signatures with certificates, or MACs'),
  manifest_bytes: count,
  kept_bytes: count.describe('What units keep beside an image'),
  room_bytes: count.describe('How much of that they have room for'),
  encrypted_bytes: count.describe('Bytes added with encrypted images'),
  recipients: count,
  recipients_kind: z.string(),
  content: z.string(),
  verifications: count.describe('Signatures that a unit verifies, certificates included'),
  authentication_ms: number.describe('Once, at install and again at every start'),
  image_ms: number.describe('Hashing the image once'),
  basis: z.enum(['certificates on file', 'certificates alike']),
});

/** The document of a trust plan. */
export const trustPlanSchema = z.strictObject({
  format: z.literal(TRUST_PLAN_FORMAT),
  planned: z.iso.datetime(),
  trial: z.boolean(),
  vendor_domain: z.string(),
  class: z.string(),
  model: z.string(),
  class_id: z.string(),
  assumptions: z.array(
    z.strictObject({
      what: z.string(),
      value: z.string(),
      said: z.boolean().describe('false: assumed, not said'),
    }),
  ),
  choices: z.array(
    z.strictObject({ choice: z.string(), chosen: z.string(), consequences: z.array(z.string()) }),
  ),
  alternatives: z.array(alternative),
  leaks: z.array(
    z.strictObject({
      key: z.string(),
      names: z.array(z.string()),
      gains: z.string(),
      forges: z.boolean().describe('Whether its holder alone can make a release that units take'),
      reaches: count.nullable().describe('Units of the class; null where not known'),
      repair: z.string(),
      repairable: z.boolean().describe('Without touching units'),
    }),
  ),
  findings: z.array(
    z.strictObject({
      id: z.string(),
      weight: z.enum(WEIGHTS),
      says: z.string(),
      means: z.string(),
      next: z.string(),
      rule: z.string().nullable(),
    }),
  ),
  threats: z.array(
    z.strictObject({
      threat: z.string(),
      section: z.string(),
      about: z.string(),
      requirements: z.array(z.string()),
      cover: z.enum(['covered', 'in part', 'not covered', 'by the product']),
      by: z.string(),
    }),
  ),
  figures: z.array(figure),
});

export type TrustPlan = z.infer<typeof trustPlanSchema>;
