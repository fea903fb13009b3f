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

const WIDEST_VALUE = 90;
const WIDEST_OUTCOME = 'not reached'.length;
const LONG_HEX = /[0-9a-f]{40,}/g;
const SHOWN_DIGITS = 16;

/** Exit status of a verdict. */
export function statusOf(verdict: Verdict['verdict']): number {
  return { accepted: EXIT.done, refused: EXIT.refused, incomplete: EXIT.incomplete }[verdict];
}

/** A decision for people: one line a step; below it what was compared, for every step or only where it was refused. */
export function showSteps(out: Output, steps: readonly CheckStep[], detail: 'all' | 'refused'): void {
  for (const { step, number, outcome, comparisons } of steps) {
    const asks = outcome === 'not reached' ? '' : out.paint.dim(stepOf(step).asks);
    out.line(
      `  ${String(number).padStart(2)}  ${step.padEnd(15)} ${paintOutcome(out, outcome)}  ${asks}`.trimEnd(),
    );
    if (detail === 'refused' && outcome !== 'refused' && outcome !== 'absent') continue;
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
  if (facts.trust) showTrust(out, facts.trust);
  for (const { component, sequenceNumber, version, signer } of facts.dependencies ?? []) {
    const who = signer ? `${signer.certificate.subject.text}  under ${signer.anchor}` : 'MAC key';
    const which = `sequence number ${sequenceNumber}${version === undefined ? '' : `, version ${version}`}`;
    out.fact('depends on', `${component}  ${which}, by ${who}`);
  }
  for (const { digest, size, component } of facts.images ?? []) {
    out.fact(
      component === undefined ? 'image' : `image of ${component}`,
      `${size === undefined ? 'size not said' : `${size} B`}  sha-256 ${toHex(digest).slice(0, 16)}...`,
    );
  }
  if (facts.delta) {
    const { size, window, precursor } = facts.delta;
    const applied = `applied to sha-256 ${toHex(precursor.digest).slice(0, 16)}...`;
    out.fact('delta', `${size} B in windows of at most ${window} B, ${applied}`);
  }
  for (const warning of facts.warnings) out.caution(warning);
}

function showTrust(out: Output, trust: NonNullable<Verdict['facts']['trust']>): void {
  const keys = (list: readonly string[]) =>
    list.map((key) => key.slice(0, SHOWN_DIGITS)).join(', ') || 'none';
  out.fact('trust update', `signed below a ${trust.rank} root`);
  out.fact('denied keys', keys(trust.denied));
  out.fact('retired roots', keys(trust.retired));
  out.fact('lowest generation', String(trust.minimumGeneration));
  if (trust.securityVersion > 0) out.fact('security floor', String(trust.securityVersion));
}

function showComparison(out: Output, { what, expected, found, ok }: Comparison): void {
  const mark = ok === null ? out.paint.dim('note ') : ok ? out.paint.green('holds') : out.paint.red('FAILS');
  const told = compared(
    expected === undefined ? undefined : short(shownText(expected)),
    found === undefined ? undefined : short(shownText(found)),
  );
  out.line(`        ${mark}  ${what}${told === '' ? '' : out.paint.dim(`: ${told}`)}`);
}

function compared(expected: string | undefined, found: string | undefined): string {
  if (expected === undefined || expected === found) return found ?? '';
  return found === undefined ? `wanted ${expected}` : `wanted ${expected}, found ${found}`;
}

function paintOutcome(out: Output, outcome: StepOutcome): string {
  const text = outcome.padEnd(WIDEST_OUTCOME);
  if (outcome === 'passed') return out.paint.green(text);
  return outcome === 'refused' ? out.paint.red(text) : out.paint.dim(text);
}

/** A stranger's text must not steer the terminal. */
export function plain(text: string): string {
  return text.replace(/[\p{Cc}\p{Cf}\u2028\u2029]/gu, '?');
}

// Digests are told by their first digits; --json has them whole.
function short(text: string): string {
  const clean = plain(text).replace(LONG_HEX, (hex) => `${hex.slice(0, SHOWN_DIGITS)}...`);
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
