import type { Cover } from '../schema.ts';
import { html, type Markup } from './markup.ts';

/** One column of a table. */
export interface Column {
  readonly head: string;
  readonly number?: boolean;
}

/** A table with a caption, a header row, and the first cell of each row as its header. */
export function table(
  caption: string,
  columns: readonly (string | Column)[],
  rows: readonly (readonly (Markup | string)[])[],
  look = 'plain',
): Markup {
  const heads = columns.map((column) => (typeof column === 'string' ? { head: column } : column));
  const kind = (i: number) => (heads[i]?.number ? html` class="number"` : '');
  const head = heads.map(({ head: text }, i) => html`<th scope="col"${kind(i)}>${text}</th>`);
  const body = rows.map((cells) => {
    const shown = cells.map((cell, i) =>
      i === 0 ? html`<th scope="row"${kind(i)}>${cell}</th>` : html`<td${kind(i)}>${cell}</td>`,
    );
    return html`<tr>${shown}</tr>\n`;
  });
  return html`<table class="${look}">
<caption>${caption}</caption>
<thead><tr>${head}</tr></thead>
<tbody>
${body}</tbody>
</table>
`;
}

/** Facts, one below the other. */
export function facts(caption: string, rows: readonly (readonly [string, Markup | string])[]): Markup {
  const body = rows.map(([name, value]) => html`<tr><th scope="row">${name}</th><td>${value}</td></tr>\n`);
  return html`<table>
<caption>${caption}</caption>
<tbody>
${body}</tbody>
</table>
`;
}

/** Text that is compared character by character. */
export function mono(text: string): Markup {
  return html`<span class="mono">${text}</span>`;
}

const STATES: Readonly<Record<Cover, string>> = {
  shown: 'yes',
  'in part': 'part',
  'not shown': 'no',
  'by the product': 'else',
};

/** How far something is shown: a word, and a line beside it. */
export function state(cover: Cover): Markup {
  return html`<span class="state ${STATES[cover]}">${cover}</span>`;
}

/** Yes or no, as a state. */
export function verdict(holds: boolean, yes: string, no: string): Markup {
  return html`<span class="state ${holds ? 'yes' : 'no'}">${holds ? yes : no}</span>`;
}

/** A size for people, exact bytes first. */
export function bytes(size: number): string {
  return `${grouped(size)} B`;
}

/** A whole number with thin spaces between groups of three. */
export function grouped(number: number): string {
  return String(number).replaceAll(/\B(?=(\d{3})+$)/g, '\u202f');
}

/** An address as a map writes it. */
export function address(value: number): string {
  return `0x${value.toString(16).padStart(8, '0')}`;
}
