import type { AcceptanceDocument } from '../rehearsal/index.ts';
import type { Output } from './output.ts';

/** Groups that are shown one by one. */
const MOST_SHOWN = 20;

/** An acceptance for people: how many, who would not and why, what to change, whom nobody could ask. */
export function showAcceptance(out: Output, json: AcceptanceDocument): void {
  const { counts } = json;
  out.fact('units', `${counts.units} in ${counts.groups} group(s) that differ to this payload`);
  out.fact('accept', units(counts.accepted));
  if (counts.not_judged_to_the_end > 0)
    out.fact('accept, as far as', `${units(counts.not_judged_to_the_end)}: ${notJudged(json)}`);
  out.fact('refuse', units(counts.refused));
  if (counts.unread > 0) out.fact('cannot be judged', units(counts.unread));
  showGroups(out, json);
  showUnread(out, json);
  showRemedies(out, json);
  if (counts.low_battery > 0)
    out.caution(
      `${units(counts.low_battery)} of them hold less energy than receiving, writing and one retry take (${json.minimum_battery})`,
    );
  if (counts.debug_open > 0) out.caution(`${units(counts.debug_open)} have an open debug port`);
  if (json.stand_in_mac)
    out.line(
      'MACs were judged with a stand-in key: whether the real class key made them, "fieldseal check" tells',
    );
  if (json.inventory.unused_columns.length > 0)
    out.line(`columns that nothing was read from: ${json.inventory.unused_columns.slice(0, 20).join(', ')}`);
  out.line(out.paint.bold(json.outcome));
}

function showGroups(out: Output, { groups }: AcceptanceDocument): void {
  for (const { verdict, refusal, units: number, serials, because, class: name } of groups.slice(
    0,
    MOST_SHOWN,
  )) {
    const said = refusal ? `${refusal.step}: ${refusal.code}` : verdict;
    const mark = refusal ? out.paint.red('refuse') : out.paint.green('accept');
    out.line(
      `  ${String(number).padStart(9)}  ${mark}  ${name}  ${said}  (${serials.join(', ')}${number > serials.length ? ', …' : ''})`,
    );
    if (because) out.line(`             ${out.paint.dim(because)}`);
  }
  if (groups.length > MOST_SHOWN)
    out.line(`  and ${groups.length - MOST_SHOWN} smaller groups: --json, or --out FILE, has them all`);
}

function showUnread(out: Output, { unread }: AcceptanceDocument): void {
  for (const { fact, expected, units: number, examples } of unread.slice(0, MOST_SHOWN)) {
    out.line(
      `  ${String(number).padStart(9)}  ${out.paint.yellow('cannot be judged')}  ${fact}: expected ${expected}`,
    );
    const told = examples.map(
      ({ line, serial, found }) => `line ${line}${serial ? ` (${serial})` : ''}: ${found}`,
    );
    out.line(`             ${out.paint.dim(told.join('; '))}`);
  }
}

function showRemedies(out: Output, { remedies }: AcceptanceDocument): void {
  if (remedies.length === 0) return;
  out.line('to leave nobody behind:');
  for (const { code, units: number, classes, changes } of remedies) {
    out.line(`  ${units(number)} of ${classes.join(', ')}, ${code}:`);
    for (const change of changes) out.line(`    ${change}`);
  }
}

function notJudged({ groups }: AcceptanceDocument): string {
  return [...new Set(groups.flatMap(({ not_judged }) => not_judged ?? []))].join('; ');
}

function units(number: number): string {
  return `${number} unit${number === 1 ? '' : 's'}`;
}
