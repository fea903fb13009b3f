/** A piece of a page that was made here, and may stand in it as it is. */
export class Markup {
  constructor(readonly text: string) {}
}

type Part = Markup | string | number | readonly (Markup | string)[];

const ESCAPES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};
// Controls, and characters that turn the direction of a line or cannot be seen: a stranger's name must not hide behind them.
const UNSEEN = /[\p{Cc}\p{Cf}\p{Zl}\p{Zp}\p{Cs}\p{Co}\p{Cn}]/gu;

/** A text that stands in a page, in an element or in a quoted attribute, and is nothing but text. */
export function escapeText(text: string): string {
  return text.replaceAll(UNSEEN, '\u{fffd}').replaceAll(/[&<>"']/g, (character) => ESCAPES[character]!);
}

/** Markup out of a template; whatever is put in is escaped, unless it is markup itself. */
export function html(strings: TemplateStringsArray, ...parts: readonly Part[]): Markup {
  return new Markup(
    strings.reduce((text, string, i) => text + string + (i < parts.length ? shown(parts[i]!) : ''), ''),
  );
}

function shown(part: Part): string {
  if (part instanceof Markup) return part.text;
  if (typeof part === 'object') return part.map(shown).join('');
  return escapeText(String(part));
}
