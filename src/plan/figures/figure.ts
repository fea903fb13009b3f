/** How far a figure can be trusted, best first; `entered` is whatever the user wrote down. */
export const FIGURE_SOURCES = ['entered', 'published', 'computed', 'common practice', 'from memory'] as const;
export type FigureSource = (typeof FIGURE_SOURCES)[number];

/** A number that a calculation rests on, and where it comes from. */
export interface Figure {
  readonly value: number;
  readonly unit: string;
  readonly source: FigureSource;
  /** The document, the person or the arithmetic behind it. */
  readonly origin: string;
}

/** What a figure is, and between which values it makes sense. */
export interface FigureRow {
  readonly unit: string;
  readonly about: string;
  readonly least: number;
  readonly most: number;
  readonly whole?: boolean;
}

/** A built-in value: number, source, origin. The unit stands in the figure's row. */
export type BuiltIn = readonly [value: number, source: FigureSource, origin: string];
