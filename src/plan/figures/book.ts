import { readWritten, type Workspace, WorkspaceError } from '../../workspace/index.ts';
import type { BuiltIn, Figure, FigureRow } from './figure.ts';
import { LINK_ROWS, type LinkFigure } from './link-rows.ts';
import { type Delivery, LINKS, type LinkRow } from './links.ts';
import type { FiguresFile } from './schema.ts';
import { DELTA_ROWS, type DeltaFigure, UNIT_ROWS, type UnitFigure } from './unit-rows.ts';

/** A link with all its figures. */
export interface Link {
  readonly name: string;
  readonly about: string;
  readonly delivery: Delivery;
  readonly listening: 'throughout' | 'frames';
  readonly figures: Readonly<Partial<Record<LinkFigure, Figure>>>;
}

export type UnitFigures = Readonly<Record<UnitFigure, Figure>>;
export type DeltaFigures = Readonly<Record<DeltaFigure, Figure>>;

/** All figures: what is built in, under what the user entered. */
export interface FigureBook {
  /** Names of all links, built-in ones first. */
  readonly links: readonly string[];
  /** Throws `WorkspaceError` not-found. */
  link(name: string): Link;
  /** Of the units of a class. */
  unit(className?: string): UnitFigures;
  readonly delta: DeltaFigures;
}

/** Where figures stand that a whole workspace uses. */
export const FIGURES_FILE = 'figures.yaml';

/**
 * The figures of a workspace: `file`, or else its figures.yaml where there is one, over the built-in ones. Throws
 * `WorkspaceError` file-invalid with line, field and what was expected.
 */
export async function readFigures(workspace: Workspace, file?: string): Promise<FigureBook> {
  const path = file ?? workspace.path(FIGURES_FILE);
  if (file === undefined && !workspace.files.exists(path)) return figureBook({});
  const shown = file ?? FIGURES_FILE;
  return figureBook(await figuresFromText(workspace.files.readText(path), shown), shown);
}

/** A figures file from its text. Throws `WorkspaceError` file-invalid. */
export async function figuresFromText(text: string, shown: string): Promise<FiguresFile> {
  const { figuresSchema } = await import('./schema.ts');
  return readWritten(text, shown, figuresSchema);
}

/** The book of what was entered over what is built in; `shown` names the file in the source of each figure. */
export function figureBook(entered: Partial<FiguresFile>, shown = FIGURES_FILE): FigureBook {
  const own = entered.links ?? {};
  const links = [...new Set([...Object.keys(LINKS), ...Object.keys(own)])];
  return {
    links,
    link: (name) => linkOf(name, own, shown, links, []),
    unit: (className) =>
      overlay(
        overlay(builtIn(UNIT_ROWS), UNIT_ROWS, entered.unit, shown),
        UNIT_ROWS,
        className === undefined ? undefined : ownOf(entered.classes ?? {}, className),
        shown,
      ) as UnitFigures,
    delta: overlay(builtIn(DELTA_ROWS), DELTA_ROWS, entered.delta, shown) as DeltaFigures,
  };
}

type OwnLinks = NonNullable<FiguresFile['links']>;
type Entered = Readonly<Partial<Record<string, number | { value: number; source: string } | undefined>>>;

function linkOf(
  name: string,
  own: OwnLinks,
  shown: string,
  known: readonly string[],
  way: readonly string[],
): Link {
  if (way.includes(name)) throw noLink(`the link ${name} is like itself`, known);
  const entered = ownOf(own, name);
  const under =
    entered?.like !== undefined
      ? linkOf(entered.like, own, shown, known, [...way, name])
      : Object.hasOwn(LINKS, name)
        ? rowOf(name, LINKS[name]!)
        : undefined;
  if (!under && !entered) throw noLink(`no link is called ${name}`, known);
  const { about, delivery, listening } = { ...under, ...withoutUndefined(entered) };
  const figures = overlay(under?.figures ?? {}, LINK_ROWS, entered as Entered | undefined, shown);
  return complete({
    name,
    about: about ?? name,
    delivery: delivery ?? 'side-by-side',
    listening: listening ?? 'frames',
    figures,
  });
}

/** A name that an object has from elsewhere, such as `constructor`, is none of ours. */
function ownOf<T>(table: Readonly<Record<string, T>>, name: string): T | undefined {
  return Object.hasOwn(table, name) ? table[name] : undefined;
}

function rowOf(name: string, { figures, ...rest }: LinkRow): Link {
  const all = Object.entries(figures) as [LinkFigure, BuiltIn][];
  return {
    name,
    ...rest,
    figures: Object.fromEntries(all.map(([key, given]) => [key, built(LINK_ROWS[key], given)])),
  };
}

const MODEM: readonly LinkFigure[] = ['spreading_factor', 'bandwidth', 'coding_rate', 'preamble'];
const DEFAULTS: Readonly<Partial<Record<LinkFigure, BuiltIn>>> = {
  fragment_header: [0, 'common practice', 'none was entered'],
  frame_overhead: [0, 'common practice', 'none was entered'],
  duty_cycle: [1, 'common practice', 'no limit was entered'],
  redundancy: [0, 'common practice', 'none was entered'],
  loss: [0, 'common practice', 'none was entered'],
};

function complete(link: Link): Link {
  const figures = { ...link.figures };
  for (const [key, given] of Object.entries(DEFAULTS) as [LinkFigure, BuiltIn][]) {
    figures[key] ??= built(LINK_ROWS[key], given);
  }
  const missing = [
    ...(['payload', 'receive_current', 'supply'] as const).filter((key) => !figures[key]),
    ...(figures.rate || MODEM.every((key) => figures[key]) ? [] : ['rate']),
  ];
  if (missing.length === 0) return { ...link, figures };
  throw new WorkspaceError('wrong-value', `the link ${link.name} lacks ${missing.join(', ')}`, {
    hint: 'enter them in the figures file, or say which link it is like, for example like: nb-iot',
  });
}

function overlay(
  under: Readonly<Partial<Record<string, Figure>>>,
  rows: Readonly<Record<string, FigureRow>>,
  entered: Entered | undefined,
  shown: string,
): Readonly<Partial<Record<string, Figure>>> {
  const over = Object.entries(rows).flatMap(([key, { unit }]) => {
    const given = entered?.[key];
    if (given === undefined) return [];
    const { value, source } = typeof given === 'number' ? { value: given, source: undefined } : given;
    const origin = source ?? shown;
    return [[key, { value, unit, source: 'entered', origin } satisfies Figure]];
  });
  return { ...under, ...Object.fromEntries(over) };
}

function builtIn(rows: Readonly<Record<string, FigureRow & { value: BuiltIn }>>): Record<string, Figure> {
  return Object.fromEntries(Object.entries(rows).map(([key, row]) => [key, built(row, row.value)]));
}

function built({ unit }: FigureRow, [value, source, origin]: BuiltIn): Figure {
  return { value, unit, source, origin };
}

function withoutUndefined<T extends object>(value: T | undefined): Partial<T> {
  return Object.fromEntries(
    Object.entries(value ?? {}).filter(([, each]) => each !== undefined),
  ) as Partial<T>;
}

function noLink(message: string, known: readonly string[]): WorkspaceError {
  return new WorkspaceError('not-found', message, {
    hint: `known are ${known.join(', ')}; others are described in figures.yaml (schemas/figures.schema.json)`,
  });
}
