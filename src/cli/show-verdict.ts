import { toHex } from '../bytes/index.ts';
import {
  type CheckStep,
  type Comparison,
  type Refusal,
  type StepOutcome,
  shownText,
  stepOf,
  type Verdict,
} from '../unit/index.ts';
import { EXIT } from './exit.ts';
import type { Output } from './output.ts';

const WIDEST_VALUE = 70;

/** Exit status of a verdict. */
export function statusOf(verdict: Verdict['verdict']): number {
  return { accepted: EXIT.done, refused: EXIT.refused, incomplete: EXIT.incomplete }[verdict];
}

/** A decision for people: one line a step, what was compared below it, and the answer last. */
export function showSteps(out: Output, steps: readonly CheckStep[]): void {
  for (const { step, number, outcome, comparisons } of steps) {
    const title = `${String(number).padStart(2)}  ${step.padEnd(15)} ${paintOutcome(out, outcome)}`;
    out.line(
      `  ${title.padEnd(36)}${outcome === 'not reached' ? '' : `  ${out.paint.dim(stepOf(step).asks)}`}`,
    );
    for (const comparison of comparisons) showComparison(out, comparison);
  }
}

/** The answer, and for a refusal what it means and what to do next. */
export function showAnswer(
  out: Output,
  verdict: Pick<Verdict, 'verdict' | 'refusal'>,
  accepted: string,
): void {
  const { refusal } = verdict;
  if (verdict.verdict === 'accepted') out.line(out.paint.bold(accepted));
  if (verdict.verdict === 'incomplete')
    out.line(out.paint.bold('incomplete: nothing was refuted, but something needed was absent'));
  if (!refusal) return;
  out.line(
    out.paint.bold(`refused at step ${stepOf(refusal.step).number}, ${refusal.step}: ${refusal.code}`),
  );
  out.line(`  ${refusal.says}`);
  out.line(`  ${out.paint.dim('means')}  ${refusal.meaning}`);
  out.line(`  ${out.paint.dim('next ')}  ${refusal.next}`);
}

/** What a decision learned, for people. */
export function showFacts(out: Output, facts: Verdict['facts']): void {
  if (facts.signer)
    out.fact('signer', `${facts.signer.certificate.subject.text}  under ${facts.signer.anchor}`);
  if (facts.macKeyId) out.fact('MAC key', facts.macKeyId);
  if (facts.sequenceNumber !== undefined) out.fact('sequence number', String(facts.sequenceNumber));
  if (facts.version !== undefined) out.fact('version', facts.version);
  for (const { digest, size } of facts.images ?? []) {
    out.fact(
      'image',
      `${size === undefined ? 'size not said' : `${size} B`}  sha-256 ${toHex(digest).slice(0, 16)}...`,
    );
  }
  for (const warning of facts.warnings) out.caution(warning);
}

function showComparison(out: Output, { what, expected, found, ok }: Comparison): void {
  const mark = ok === null ? out.paint.dim('note') : ok ? out.paint.green('holds') : out.paint.red('FAILS');
  const told = [
    expected === undefined ? '' : `wanted ${short(shownText(expected))}`,
    found === undefined ? '' : `found ${short(shownText(found))}`,
  ].filter((text) => text !== '');
  out.line(`        ${mark}  ${what}${told.length > 0 ? out.paint.dim(`: ${told.join(', ')}`) : ''}`);
}

function paintOutcome(out: Output, outcome: StepOutcome): string {
  if (outcome === 'passed') return out.paint.green(outcome);
  if (outcome === 'refused') return out.paint.red(outcome);
  return out.paint.dim(outcome);
}

function short(text: string): string {
  const clean = text.replace(/[\p{Cc}\p{Cf}]/gu, '?');
  return clean.length > WIDEST_VALUE ? `${clean.slice(0, WIDEST_VALUE - 3)}...` : clean;
}

/** A refusal for programs. */
export function refusalJson(refusal: Refusal | null): object | null {
  if (!refusal) return null;
  const { code, step, says, meaning, next, source } = refusal;
  return { code, step, says, meaning, next, source };
}

/** One step for programs. */
export function comparisonsJson({ step, number, outcome, comparisons }: CheckStep): object {
  return {
    step,
    number,
    outcome,
    comparisons: comparisons.map(({ what, expected, found, ok, source }) => ({
      what,
      ...(expected !== undefined && { expected: shownText(expected) }),
      ...(found !== undefined && { found: shownText(found) }),
      ok,
      source,
    })),
  };
}
