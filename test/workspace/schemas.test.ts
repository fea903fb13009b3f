import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { publishedSchemas } from '../../scripts/schemas.ts';
import { deviceClassSchema } from '../../src/workspace/schema.ts';
import { withVent } from './setup.ts';

describe('published JSON schemas', () => {
  test('schemas/ holds what the program reads files with (after a change: node scripts/schemas.mjs)', () => {
    for (const [name, text] of Object.entries(publishedSchemas())) {
      expect(readFileSync(new URL(`../../schemas/${name}`, import.meta.url), 'utf8')).toBe(text);
    }
  });

  test('each schema is published, and none is left from earlier', () => {
    const present = readdirSync(new URL('../../schemas/', import.meta.url)).filter((name) =>
      name.endsWith('.schema.json'),
    );
    expect(present).toEqual(expect.arrayContaining(Object.keys(publishedSchemas())));
  });

  test('the schema names every field that a class file may hold, with a description and an example', () => {
    const schema = JSON.parse(publishedSchemas()['device-class.schema.json']!);
    expect(schema.additionalProperties).toBe(false);
    expect(Object.keys(schema.properties)).toEqual(Object.keys(deviceClassSchema.shape));
    for (const field of Object.values<{ description?: string }>(schema.properties))
      expect(field.description).toBeTruthy();
  });

  test('a file that class add writes has every required field of the schema, and no other', async () => {
    const { vent } = await withVent();
    const schema = JSON.parse(publishedSchemas()['device-class.schema.json']!);
    const fields = Object.keys(parse(readFileSync(vent.file, 'utf8')));
    expect(fields).toEqual(expect.arrayContaining(schema.required));
    expect(Object.keys(schema.properties)).toEqual(expect.arrayContaining(fields));
  });
});
