import * as z from 'zod';
import type { FigureRow } from './figure.ts';
import { LINK_ROWS, type LinkFigure } from './link-rows.ts';
import { DELIVERIES } from './links.ts';
import { DELTA_ROWS, UNIT_ROWS } from './unit-rows.ts';

/** Format of a figures file and its version. */
export const FIGURES_FORMAT = 'fieldseal.figures/1';

const NAME = /^[a-z0-9][a-z0-9.-]{0,63}$/;

const text = (about: string, example: string) =>
  z
    .string({ error: 'text' })
    .min(1, { error: 'text of at least one character' })
    .max(200, { error: 'text of at most 200 characters' })
    .meta({ description: about, examples: [example] });

const group = <T extends z.core.$ZodLooseShape>(about: string, shape: T) =>
  z
    .strictObject(shape, {
      error: (issue) => (issue.code === 'invalid_type' ? 'a group of fields' : undefined),
    })
    .meta({ description: about });

function number({ unit, about, least, most, whole }: FigureRow) {
  const says = `a ${whole ? 'whole ' : ''}number from ${least} to ${most}`;
  const base = whole ? z.int({ error: says }) : z.number({ error: says });
  return base
    .min(least, { error: says })
    .max(most, { error: says })
    .meta({ description: unit === '' ? about : `${about}, in ${unit}`, examples: [least] });
}

/** A figure is a number, or a number with where it comes from. */
function figure(row: FigureRow) {
  const value = number(row);
  const sourced = group('A figure and where it comes from.', {
    value,
    source: text('Where it comes from.', 'measured on the bench in May'),
  });
  return z.union([value, sourced], {
    error: `a number from ${row.least} to ${row.most}, or value and source`,
  });
}

function figures<K extends string>(rows: Readonly<Record<K, FigureRow>>) {
  const shape = Object.fromEntries(
    Object.entries<FigureRow>(rows).map(([name, row]) => [name, figure(row).optional()]),
  );
  return shape as Record<K, z.ZodOptional<ReturnType<typeof figure>>>;
}

const named = <T extends z.ZodType>(about: string, value: T) =>
  z
    .record(z.string().regex(NAME, { error: 'a short name in lower case' }), value)
    .meta({ description: about });

const unit = group('The microcontroller and its cell.', figures(UNIT_ROWS));

/** Schema of figures.yaml: whatever stands here replaces the figure that is built in. */
export const figuresSchema = group('Figures that calculations of fieldseal rest on.', {
  format: z
    .literal(FIGURES_FORMAT, { error: FIGURES_FORMAT })
    .meta({ description: 'Format of this file and its version.', examples: [FIGURES_FORMAT] }),
  links: named(
    'Links by name: a built-in one with other figures, or one of your own.',
    group('A link.', {
      like: text('The link that gives what is left out.', 'lorawan-eu-dr0').optional(),
      about: text('What it is.', 'gateway on the ridge').optional(),
      delivery: z
        .enum(DELIVERIES, { error: `one of ${DELIVERIES.join(', ')}` })
        .meta({ description: 'Once for all, one unit after the other, or to all side by side.' })
        .optional(),
      listening: z
        .enum(['throughout', 'frames'], { error: 'throughout or frames' })
        .meta({ description: 'Whether the receiver stays on the whole time, or only while frames arrive.' })
        .optional(),
      ...figures<LinkFigure>(LINK_ROWS),
    }),
  ).optional(),
  unit: unit.optional(),
  classes: named('The same for units of one class.', unit).optional(),
  delta: group('What a delta is taken for while none has been made.', figures(DELTA_ROWS)).optional(),
});

/** figures.yaml as read. */
export type FiguresFile = z.output<typeof figuresSchema>;
