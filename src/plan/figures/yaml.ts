import type { FigureBook, Link } from './book.ts';
import type { Figure } from './figure.ts';

/**
 * A figures file to begin from: the units' figures as they are and the links named, every line a comment until somebody
 * enters a figure of their own.
 */
export function figuresYaml(book: FigureBook, links: readonly string[]): string {
  return [
    '# Figures of this workspace. What stands here replaces what is built in; fieldseal figures shows both.',
    '# A figure is a number, or { value: 12, source: "measured on the bench in May" }. Take the # away where you enter one.',
    'format: fieldseal.figures/1',
    '',
    '# unit:   # for every class; under classes: NAME: for one',
    ...linesOf(book.unit(), 2),
    '',
    '# delta:',
    ...linesOf(book.delta, 2),
    '',
    '# links:',
    ...links.flatMap((name) => linkLines(book.link(name))),
    '',
  ].join('\n');
}

function linkLines({ name, about, delivery, listening, figures }: Link): string[] {
  return [
    `#   ${name}:   # ${about}`,
    `#     delivery: ${delivery}`,
    `#     listening: ${listening}`,
    ...linesOf(figures, 4),
  ];
}

function linesOf(figures: Readonly<Partial<Record<string, Figure>>>, indent: number): string[] {
  return Object.entries(figures).flatMap(([name, figure]) =>
    figure
      ? [
          `# ${' '.repeat(indent)}${name}: ${figure.value}   # ${figure.unit} ${figure.source}: ${figure.origin}`,
        ]
      : [],
  );
}
