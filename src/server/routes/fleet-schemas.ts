import { z } from '@hono/zod-openapi';
import { UNIT_STATES } from '../../fleet/index.ts';
import { classNameSchema, fileIdSchema } from './schemas.ts';

export { documentSchema } from './schemas.ts';

const identifier = z.string().regex(/^[0-9a-f]{32}$/);
const whole = z.coerce.number().int().positive();

/** A class by its name here, or by its identifier. */
const classSchema = z.union([identifier, classNameSchema]);

export const fleetQuerySchema = z.object({
  class: classSchema.optional(),
  state: z.enum(UNIT_STATES).optional(),
  broadcast: whole.optional(),
  wave: whole.optional(),
  text: z
    .string()
    .min(1)
    .max(128)
    .optional()
    .openapi({ description: 'how the serial number, the device identifier or the cohort begins' }),
  version: z.string().min(1).max(64).optional(),
  refusal: z
    .string()
    .regex(/^[a-z][a-z0-9-]{0,63}$/)
    .optional()
    .openapi({ description: "a refusal's code" }),
  silent_days: z.coerce
    .number()
    .int()
    .min(1)
    .max(36_500)
    .optional()
    .openapi({ description: 'not heard of for so many days' }),
});
export type FleetQuery = z.output<typeof fleetQuerySchema>;

export const fleetPageSchema = z.object({
  after: z.string().max(512).optional().openapi({ description: 'where the page before ended' }),
  limit: z.coerce.number().int().min(1).max(1000).default(50),
});

export const fleetUnitParamSchema = z.object({ class: classSchema, device: identifier });

export const broadcastParamSchema = z.object({ id: whole });

export const orderRequestSchema = z
  .strictObject({
    order: z.enum(['pause', 'resume', 'halt']),
    why: z.string().trim().min(1).max(2000),
    revision: z.int().positive().openapi({ description: 'the broadcast as it was looked at' }),
  })
  .openapi('Order');

/** A plan of waves is a page or two of text. */
const LONGEST_PLAN = 128 * 1024;
const planSchema = z.string().max(LONGEST_PLAN).openapi({
  description: 'a plan of waves, YAML: schema in schemas/broadcast-plan.schema.json',
});
const most = (count: number, description: string) =>
  z.array(fileIdSchema).max(count).default([]).openapi({ description });

export const draftRequestSchema = z.strictObject({ class: classNameSchema }).openapi('DraftRequest');
export const draftSchema = z
  .object({
    format: z.literal('fieldseal.desk-broadcast-draft/1'),
    class: z.string(),
    plan: planSchema,
    depot: z.string().nullable().openapi({
      description:
        'the folder that files go into, as "fieldseal serve --depot" names it; null: nothing begins here',
    }),
  })
  .openapi('BroadcastDraft');

const beside = {
  images: most(16, 'images that lie beside it, or beside a stepping stone'),
  stepping_stones: most(4, 'envelopes of the releases that the plan names as stepping stones'),
};

export const judgementRequestSchema = z
  .strictObject({
    class: classNameSchema,
    plan: planSchema,
    file: fileIdSchema
      .optional()
      .openapi({ description: 'the envelope that is to be sent; without it the plan alone is judged' }),
    ...beside,
  })
  .openapi('JudgementRequest');
const unitCount = z.int().nonnegative();
export const judgementSchema = z
  .object({
    format: z.literal('fieldseal.broadcast-preview/1'),
    class: z.string(),
    units: unitCount.openapi({ description: 'of the class' }),
    waves: z.array(
      z.object({
        name: z.string(),
        units: unitCount.openapi({
          description: 'that no wave before it holds; drawn by lot: about so many',
        }),
        share: z.int().nullable().openapi({ description: 'of a thousand; null where it names its units' }),
      }),
    ),
    in_no_wave: unitCount,
    unpiloted_hardware: z.array(z.string()),
    not_in_fleet: z.array(z.string()).openapi({ description: 'serial numbers' }),
    stepping_stones: z.array(z.int()).openapi({ description: 'sequence numbers' }),
    release: z
      .object({ sequence_number: z.string(), manifest_digest: z.string() })
      .nullable()
      .openapi({ description: 'what is to be sent; null where nothing was given, or nothing that may be' }),
    cautions: z.array(z.string()).openapi({ description: 'what whoever begins should know beside the rest' }),
    refused: z
      .object({ code: z.string(), message: z.string(), hint: z.string() })
      .nullable()
      .openapi({ description: 'why nothing would begin by it; null where it would' }),
  })
  .openapi('BroadcastJudgement');

export const beginRequestSchema = z
  .strictObject({
    class: classNameSchema,
    plan: planSchema,
    file: fileIdSchema.openapi({ description: 'the envelope that is offered' }),
    ...beside,
    confirm: z.string().max(64).openapi({ description: 'the name of the class: what follows was read' }),
  })
  .openapi('BeginRequest');
