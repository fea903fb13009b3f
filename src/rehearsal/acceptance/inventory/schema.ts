import * as z from 'zod';
import { FACT_NAMES, type FactName } from './facts.ts';

/** Format of a file that says which column holds what. */
export const COLUMNS_FORMAT = 'fieldseal.inventory-columns/1';

const text = (about: string, example: string) =>
  z
    .string({ error: 'text; put it in quotes so that YAML does not read it as a number' })
    .min(1, { error: 'text of at least one character' })
    .max(200, { error: 'text of at most 200 characters' })
    .meta({ description: about, examples: [example] });

const group = <T extends z.core.$ZodLooseShape>(about: string, shape: T) =>
  z
    .strictObject(shape, {
      error: (issue) => (issue.code === 'invalid_type' ? 'a group of fields' : undefined),
    })
    .meta({ description: about });

const SOURCE = 'the name of a column, or a group with column or always';

const source = z.union(
  [
    text('Name of the column.', 'Serial No'),
    group('A column whose values are told in other words, or a list.', {
      column: text('Name of the column.', 'RTC'),
      values: z
        .record(z.string(), z.string({ error: 'text; put it in quotes' }))
        .meta({ description: 'What a value of the column means.', examples: [{ Y: 'yes', N: 'no' }] })
        .optional(),
      separator: text('What parts the items of a list.', ';').optional(),
    }),
    group('The same for every unit.', { always: text('The value.', 'vent') }),
  ],
  { error: SOURCE },
);

const facts = Object.fromEntries(FACT_NAMES.map((name) => [name, source.optional()])) as Record<
  FactName,
  z.ZodOptional<typeof source>
>;

/** Schema of a columns file. */
export const columnsSchema = group('Which column of an inventory holds what.', {
  format: z
    .literal(COLUMNS_FORMAT, { error: COLUMNS_FORMAT })
    .meta({ description: 'Format of this file and its version.', examples: [COLUMNS_FORMAT] }),
  facts: group('What is known of a unit, by our names.', facts),
  delimiter: z
    .enum([',', ';', '\t', '|'], { error: 'one of , ; | and the tabulator' })
    .default(',')
    .meta({ description: 'What parts the columns of a CSV file.', examples: [';'] }),
});

/** A columns file as read. */
export type ColumnsFile = z.output<typeof columnsSchema>;
