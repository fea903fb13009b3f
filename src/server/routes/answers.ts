import { OpenAPIHono, type z } from '@hono/zod-openapi';
import type { DeskEnv } from '../context.ts';
import { DeskError } from '../error.ts';
import { errorSchema } from './schemas.ts';

const JSON_TYPE = 'application/json';

/** The answers of a route: its document, or an error in the one form that all share. */
export function answers<Schema extends z.ZodType>(schema: Schema, description: string) {
  return {
    200: { content: { [JSON_TYPE]: { schema } }, description },
    default: {
      content: { [JSON_TYPE]: { schema: errorSchema } },
      description: 'what happened, and what to do next',
    },
  } as const;
}

/** A body in JSON. */
export function jsonBody<Schema extends z.ZodType>(schema: Schema) {
  return { body: { content: { [JSON_TYPE]: { schema } }, required: true } } as const;
}

/** Routes whose requests are validated; what does not fit is told in the form that all errors have. */
export function newRoutes() {
  return new OpenAPIHono<DeskEnv>({
    defaultHook: (result) => {
      if (result.success) return;
      const [issue] = result.error.issues;
      const where = issue?.path.join('.') ?? '';
      throw new DeskError(
        'request-wrong',
        `the request is not as it must be${where && ` at ${where}`}: ${issue?.message ?? 'it cannot be read'}`,
        'see /api/v1/openapi.json',
      );
    },
  });
}
