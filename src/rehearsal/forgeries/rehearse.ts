/** Carries a rehearsal out: the payload first, and only then every forgery of it. */
import type { Refusal, Verdict } from '../../unit/index.ts';
import { StandInRefuses } from './field.ts';
import { type Forgery, stepOfRefusal } from './forgery.ts';
import type { Heard } from './heard.ts';
import { FormUnknown } from './images.ts';
import { Lab } from './lab.ts';
import { PLACES } from './places.ts';
import { type Genuine, judgeGenuine, type Subject, standsInTheWay } from './subject.ts';
import { FORGERIES } from './table.ts';

/** What became of one row. */
export interface RowResult {
  readonly row: Forgery;
  /** `exposed`: it does not apply here, so nothing was tried. */
  readonly outcome: 'passed' | 'failed' | 'exposed';
  readonly against: 'unit' | 'stand-in' | 'sealing';
  /** What was heard: a code, or `accepted`. Undefined where nothing was tried. */
  readonly heard: string | undefined;
  /** Why it failed, or what it means that it does not apply. */
  readonly because: string | undefined;
  /** The decision, step by step, where a unit made one. */
  readonly steps?: Heard['steps'];
}

/** The outcome of a rehearsal. */
export type Rehearsal =
  | {
      readonly kind: 'not taken';
      readonly genuine: Genuine;
      /** What was said, by the unit or by its stand-in. */
      readonly verdict: Verdict;
      readonly refusal: Refusal | null;
      readonly why: string;
    }
  | {
      readonly kind: 'carried out';
      readonly genuine: Genuine;
      readonly lab: Lab;
      readonly rows: readonly RowResult[];
    };

/** Told after each row, and waited for, so that a server can answer others in between. */
export type RehearsalProgress = (done: number, total: number) => void | Promise<void>;

/**
 * Rehearses a payload against a unit. Where the unit does not take the payload itself, nothing else is tried: every
 * forgery of it would be refused for the wrong reason.
 */
export async function rehearse(
  subject: Subject,
  progress: RehearsalProgress = () => {},
  table: readonly Forgery[] = FORGERIES,
): Promise<Rehearsal> {
  const genuine = judgeGenuine(subject);
  const { verdict } = genuine;
  const refusal = standsInTheWay(genuine);
  const untried = (why: string, by: Verdict = verdict, code = refusal) =>
    ({ kind: 'not taken', genuine, verdict: by, refusal: code, why }) as const;
  if (refusal) return untried('the unit refuses the payload itself');
  if (genuine.until === 'image' && verdict.verdict !== 'accepted')
    return untried('the image of the payload is not at hand');
  if (verdict.facts.effect === 'already there') return untried('the unit holds this payload already');
  try {
    const lab = await Lab.open(subject, genuine);
    lab.field.at('ready');
    const rows: RowResult[] = [];
    for (const row of table) {
      rows.push(await carryOut(lab, row));
      await progress(rows.length, table.length);
    }
    return { kind: 'carried out', genuine, lab, rows };
  } catch (error) {
    if (error instanceof FormUnknown)
      return untried(`the payload is not of a kind that can be rehearsed: ${error.message}`);
    if (error instanceof StandInRefuses)
      return untried(error.message, error.result ?? verdict, error.result?.refusal ?? null);
    throw error;
  }
}

/** Makes one forgery and offers it. */
export async function carryOut(lab: Lab, row: Forgery): Promise<RowResult> {
  const missing = (row.where ?? []).find((place) => !PLACES[place].holds(lab));
  const { attack, refusal } = row;
  if (missing) {
    const because = `${PLACES[missing].otherwise}`;
    return { row, outcome: 'exposed', against: attack.against, heard: undefined, because };
  }
  const step = stepOfRefusal(refusal);
  const party = lab.partyFor(step === 'seal' ? 'envelope' : step);
  const heard = await attack.carryOut(lab, party);
  const against = attack.against === 'unit' ? party.who : attack.against;
  const because = faultOf(row, heard);
  return {
    row,
    outcome: because ? 'failed' : 'passed',
    against,
    heard: heard.told,
    because,
    steps: heard.steps,
  };
}

/** Why a row fails, or undefined where it passes. */
function faultOf({ refusal }: Forgery, { told, refusal: found, harm }: Heard): string | undefined {
  const awaited = `it must be refused at step ${stepOfRefusal(refusal)}, ${refusal}`;
  if (told === refusal) return harm && `it was refused as it must be, but ${harm}`;
  if (found) return `it was refused at step ${found.step}, ${told}; ${awaited}`;
  return `what came of it: ${told}; ${awaited}`;
}
