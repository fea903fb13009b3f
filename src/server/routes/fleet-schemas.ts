import { z } from '@hono/zod-openapi';
import { UNIT_STATES } from '../../fleet/index.ts';
import { classNameSchema } from './schemas.ts';

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
