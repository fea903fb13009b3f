import {
  countsOf,
  type Rehearsal,
  type RehearsalDocument,
  type RowResult,
  stepOfRefusal,
  THREATS,
  type Threat,
} from '../rehearsal/index.ts';
import { STEPS } from '../unit/index.ts';
import type { Output } from './output.ts';
import { showAnswer, showSteps } from './show-verdict.ts';

type CarriedOut = Extract<Rehearsal, { kind: 'carried out' }>;
type NotTaken = Extract<Rehearsal, { kind: 'not taken' }>;

const WIDEST_NAME = 58;

/** A rehearsal for people: step by step what fell, then what does not apply here, and which threats that leaves open. */
export function showRehearsal(out: Output, { rows, lab, genuine }: CarriedOut): void {
  out.fact('the payload itself', `taken: ${genuine.verdict.facts.effect ?? 'new install'}`);
  showWho(out, rows, lab.standIn.swapped);
  const steps = [{ number: 0, name: 'seal' as const }, ...STEPS];
  for (const { number, name } of steps) {
    const here = rows.filter(
      ({ row, outcome }) => outcome !== 'exposed' && stepOfRefusal(row.refusal) === name,
    );
    if (here.length === 0) continue;
    out.line();
    out.line(out.paint.bold(number === 0 ? 'before any unit: seal' : `${number}. ${name}`));
    for (const each of here) showRow(out, each);
  }
  showExposure(out, rows);
  showThreats(out, rows);
}

function showWho(out: Output, rows: readonly RowResult[], swapped: readonly string[]): void {
  const asked = (who: RowResult['against']) =>
    rows.filter(({ against, outcome }) => against === who && outcome !== 'exposed').length;
  out.fact('asked the unit', `${asked('unit')} times: what anybody could send who has no key`);
  out.fact(
    'asked a stand-in',
    `${asked('stand-in')} times, with a throwaway authority: the same record but for ${swapped.join(', ')}`,
  );
}

function showRow(out: Output, { row, outcome, against, because }: RowResult): void {
  const mark = outcome === 'passed' ? out.paint.green('refused') : out.paint.red('FAILED ');
  const who = against === 'stand-in' ? out.paint.dim(' (stand-in)') : '';
  out.line(`  ${mark}  ${row.name.padEnd(WIDEST_NAME)} ${row.refusal}${who}`);
  if (because) out.line(`           ${because}`);
}

/** What was not tried, by the reason for which it was not. */
function showExposure(out: Output, rows: readonly RowResult[]): void {
  const exposed = rows.filter(({ outcome }) => outcome === 'exposed');
  if (exposed.length === 0) return;
  out.line();
  out.line(out.paint.bold('exposure: does not apply here, and was not tried'));
  for (const because of new Set(exposed.map((each) => each.because))) {
    const names = exposed.filter((each) => each.because === because).map(({ row }) => row.name);
    out.line(`  ${because}`);
    out.line(out.paint.dim(`      ${names.join('; ')}`));
  }
}

/** Threats of which no row was tried here. */
function showThreats(out: Output, rows: readonly RowResult[]): void {
  const open = THREATS.filter(({ name }: Threat) => {
    const { passed, failed } = countsOf(rows.filter(({ row }) => row.threat === name));
    return passed + failed === 0;
  });
  out.line();
  const tried = THREATS.length - open.length;
  out.fact('threats of RFC 9124', `${tried} of ${THREATS.length} tried here`);
  for (const { name, about } of open) out.line(`    not tried: THREAT.${name}, ${about}`);
}

/** Why nothing was rehearsed: every forgery of a payload that is not taken would fall for the wrong reason. */
export function showNotTaken(out: Output, { verdict, refusal, why }: NotTaken): void {
  out.line(out.paint.bold(`not rehearsed: ${why}`));
  showSteps(out, verdict.steps, 'refused');
  if (refusal) showAnswer(out, { verdict: 'refused', refusal }, '');
  out.line('no forgery was made: of a payload that is not taken, each would fall for the wrong reason');
}

/** The last line. */
export function showOutcome(out: Output, { outcome, counts }: RehearsalDocument): void {
  if (outcome === 'not taken') return;
  const { rows, passed, failed, exposed } = counts;
  out.line();
  const told = `${rows} forgeries: ${passed} refused as they must be, ${failed} failed, ${exposed} do not apply`;
  out.line(out.paint.bold(outcome === 'passed' ? `rehearsed: ${told}` : `FAILED: ${told}`));
  if (outcome === 'failed')
    out.line(
      '  do not broadcast: report what failed; a unit that takes a forgery, or tells it too late, is at risk',
    );
}
