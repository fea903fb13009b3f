import { type Cost, FIGURE_SOURCES, type Figure, type LinkCost, type VariantCost } from '../plan/index.ts';
import type { Output } from './output.ts';

const HEADINGS = ['', 'bytes', 'frames', 'on air', 'complete in', 'all at once', 'minimum battery', 'money'];
const WIDTHS = [17, 11, 14, 10, 12, 12, 16, 11];

/** A cost for people: a table for each link, then the figures that it rests on. */
export function showCost(out: Output, cost: Cost): void {
  for (const link of cost.links) showLink(out, link);
  const variants = cost.links[0]?.variants ?? [];
  for (const hindrance of new Set(variants.map(({ variant }) => variant.hindrance))) {
    if (hindrance) out.caution(`encrypted: ${hindrance}`);
  }
  out.line(
    '"all at once": chance that a unit has everything after one round; "minimum battery": receive, write, verify, and the retries',
  );
  if (variants.some(({ variant }) => variant.basis === 'estimated')) {
    out.line('~ the delta is estimated; --from the envelope that units run has one made and measured');
  }
  showFigures(out, cost);
}

function showLink(out: Output, { link, variants }: LinkCost): void {
  out.line();
  out.line(`${link.name}: ${link.about} (${link.delivery})`);
  out.line(out.paint.dim(row(HEADINGS)));
  for (const each of variants) out.line(row(cells(each)));
}

function cells({ variant, sending, effort, money }: VariantCost): string[] {
  const estimated = variant.basis === 'estimated' ? '~' : '';
  if (variant.hindrance) return [variant.name, estimated + variant.bytes, 'not possible'];
  return [
    variant.name,
    estimated + variant.bytes,
    String(sending.frames),
    duration(sending.airTime),
    duration(sending.timeToComplete),
    percent(sending.chance),
    `${effort.minimumBattery} mWh`,
    money === undefined ? 'no tariff' : money.toFixed(2),
  ];
}

function row(all: readonly string[]): string {
  const [first, ...rest] = all;
  return `  ${first!.padEnd(WIDTHS[0]!)}${rest.map((cell, i) => cell.padStart(WIDTHS[i + 1]!)).join('')}`.trimEnd();
}

function showFigures(out: Output, { unit, figures, links }: Cost): void {
  const all = [unit, figures.delta, ...links.map(({ link }) => link.figures)].flatMap((group) =>
    Object.values(group),
  );
  const told = FIGURE_SOURCES.map(
    (source) => [all.filter((figure) => figure.source === source).length, source] as const,
  )
    .filter(([count]) => count > 0)
    .map(([count, source]) => `${count} ${source}`)
    .join(', ');
  out.line(`figures: ${told}; each is shown with its source by "fieldseal figures"`);
}

/** A figure with unit and source. */
export function figureText({ value, unit, source, origin }: Figure): string {
  return `${`${value}${unit === '' ? '' : ` ${unit}`}`.padEnd(16)} ${source}: ${origin}`;
}

const TIMES = [
  [86_400, 'd'],
  [3_600, 'h'],
  [60, 'min'],
  [1, 's'],
] as const;

/** A time for people, to two or three digits. */
export function duration(seconds: number): string {
  const [factor, unit] = TIMES.find(([factor]) => seconds >= 2 * factor) ?? [1, 's'];
  const value = seconds / factor;
  return `${value >= 100 ? Math.round(value) : value.toPrecision(2)} ${unit}`;
}

function percent(chance: number): string {
  const value = chance * 100;
  if (value === 0 || value === 100) return `${value} %`;
  if (value > 99.99) return '> 99.99 %';
  return value < 0.001 ? '< 0.001 %' : `${value.toPrecision(value > 10 ? 4 : 2)} %`;
}
