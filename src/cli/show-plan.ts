import type { TrustPlan } from '../plan/index.ts';
import type { Output } from './output.ts';

const WIDTH = 36;

/** A trust plan for people: what was chosen, side by side with what was not, and what to decide on. */
export function showPlan(out: Output, plan: TrustPlan): void {
  out.line(
    `trust plan of class ${plan.class}, ${plan.model}${plan.trial ? '  [TRIAL workspace: not for production]' : ''}`,
  );
  for (const { what, value, said } of plan.assumptions)
    out.fact(what, `${value}${said ? '' : out.paint.dim('  (not said)')}`);
  for (const { choice, chosen, consequences } of plan.choices) {
    out.line(`${out.paint.bold(choice)}: ${chosen}`);
    for (const each of consequences) out.line(`  ${each}`);
  }
  showAlternatives(out, plan);
  out.line(out.paint.bold('if a key leaks'));
  for (const { key, names, gains, forges, reaches, repair } of plan.leaks) {
    const whose = names.length === 0 ? key : `${key} (${names.join(', ')})`;
    out.line(`  ${whose}: ${gains}; ${reach(forges, reaches)}; ${repair}`);
  }
  out.line(out.paint.bold('to decide on'));
  if (plan.findings.length === 0) out.line('  nothing stands against this plan');
  for (const { weight, says, means, next, rule } of plan.findings) {
    const mark = weight === 'conflict' ? out.paint.red(weight) : weight;
    out.line(`  ${mark}: ${says}`);
    out.line(`    ${means}${rule === null ? '' : out.paint.dim(`  (${rule})`)}`);
    out.line(`    ${next}`);
  }
  const open = plan.threats.filter(({ cover }) => cover !== 'covered');
  out.line(`${out.paint.bold('threats of RFC 9124')}: ${plan.threats.length - open.length} covered`);
  for (const { threat, cover, by } of open) out.line(`  ${threat}: ${cover}: ${by}`);
}

function showAlternatives(out: Output, { alternatives }: TrustPlan): void {
  out.line(out.paint.bold('all profiles, side by side'));
  out.line(
    out.paint.dim(`  ${'profile'.padEnd(WIDTH)}  bytes added  encrypted  kept     verify once, image`),
  );
  for (const each of alternatives) {
    const verify = each.verifications === 0 ? 'hash speed' : `${each.authentication_ms} ms`;
    const cells = [
      each.profile.padEnd(WIDTH),
      String(each.added_bytes).padStart(11),
      String(each.encrypted_bytes).padStart(9),
      String(each.kept_bytes).padStart(7),
    ];
    const line = `  ${cells.join('  ')}  ${verify}, ${each.image_ms} ms`;
    out.line(each.chosen ? out.paint.bold(`${line}  chosen`) : line);
  }
}

function reach(forges: boolean, reaches: number | null): string {
  const units = reaches === null ? 'units not known' : `${reaches} unit(s)`;
  return forges ? `alone, ${units}` : `forges nothing alone, ${units}`;
}
