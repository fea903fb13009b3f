import { toHex } from '../../bytes/index.ts';
import { type CheckStep, type Refusal, shownText, stepOf } from '../../unit/index.ts';
import type { Outcome } from './plays.ts';

/** What came of an act, for programs: the decision, what happened on the flash, and how the unit stands now. */
export function outcomeJson({ result, cutAt, operations, strokes, unit }: Outcome): object {
  return {
    format: 'fieldseal.play-outcome/1',
    cut: cutAt !== null,
    cut_at: cutAt,
    operations,
    verdict: result?.verdict ?? null,
    refusal: refusalJson(result?.refusal ?? null),
    steps: (result?.steps ?? []).map(stepJson),
    started: startedJson(result),
    strokes,
    unit,
  };
}

function startedJson(result: Outcome['result']): object | null {
  if (!result || !('started' in result) || !result.started) return null;
  const { image, state, facts } = result.started;
  return {
    slot: image,
    state,
    version: facts?.version ?? null,
    sequence_number: facts ? String(facts.sequenceNumber) : null,
    manifest_digest: facts ? toHex(facts.manifestDigest) : null,
  };
}

/** A refusal for programs. */
export function refusalJson(refusal: Refusal | null): object | null {
  if (!refusal) return null;
  const { code, step, says, meaning, next, source } = refusal;
  return { code, step, number: stepOf(step).number, says, meaning, next, source };
}

/** One step of a decision for programs. */
export function stepJson({ step, number, outcome, comparisons }: CheckStep): object {
  return {
    step,
    number,
    outcome,
    asks: stepOf(step).asks,
    comparisons: comparisons.map(({ what, expected, found, ok, source }) => ({
      what,
      expected: expected === undefined ? null : shownText(expected),
      found: found === undefined ? null : shownText(found),
      ok,
      source,
    })),
  };
}
