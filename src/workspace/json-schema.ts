import * as z from 'zod';
import { deviceClassSchema, workspaceSchema } from './schema.ts';

/** The JSON Schemas (draft 2020-12) that editors and other tools use, by file name in schemas/. */
export function publishedSchemas(): Record<string, string> {
  return {
    'device-class.schema.json': publish(deviceClassSchema, 'fieldseal device class, classes/NAME.yaml'),
    'workspace.schema.json': publish(workspaceSchema, 'fieldseal workspace, fieldseal.yaml'),
  };
}

/** A schema as a file. */
export function publish(schema: z.ZodType, title: string): string {
  const { $schema, ...rest } = z.toJSONSchema(schema, { io: 'input', target: 'draft-2020-12' });
  return `${JSON.stringify({ $schema, title, ...rest }, null, 2)}\n`;
}
