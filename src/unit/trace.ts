import { toHex } from '../bytes/index.ts';
import type { Facts } from './facts.ts';
import { type Refusal, type RefusalCode, refusalOf } from './refusals.ts';
import { type StepName, stepOf } from './steps.ts';

/** A value that was compared. Bytes show as hexadecimal; a function is asked for its text only when shown. */
export type Shown = string | number | bigint | Uint8Array | (() => string);

/** One line of a step: what was compared with what. `ok` is null where it was noted and not judged. */
export interface Comparison {
  readonly what: string;
  readonly expected?: Shown | undefined;
  readonly found?: Shown | undefined;
  readonly ok: boolean | null;
  readonly source: string;
}

/** How a step ended. `absent`: something that it needs was not there, and nothing was refuted. */
export type StepOutcome = 'passed' | 'refused' | 'not judged' | 'not reached' | 'absent';

/** One step of a trace. */
export interface CheckStep {
  readonly step: StepName;
  readonly number: number;
  readonly outcome: StepOutcome;
  readonly comparisons: readonly Comparison[];
}

/** A comparison whose result is still open. */
export type Question = Omit<Comparison, 'ok'>;

/** Raised inside a decision when a step says no, and caught where the decision began; never leaves this room. */
export class Refused extends Error {
  readonly refusal: Refusal;

  constructor(refusal: Refusal) {
    super(refusal.code);
    this.refusal = refusal;
  }
}

interface OpenStep {
  step: StepName;
  number: number;
  outcome: StepOutcome;
  comparisons: Comparison[];
}

/**
 * The record of one decision: its steps in order, each with what was compared. A step is entered, compares, and
 * passes when the next one is entered or the trace is closed; the first comparison that fails ends the decision.
 */
export class Trace {
  /** What was learned so far. */
  readonly facts: Facts = { warnings: [] };
  readonly #steps: OpenStep[];
  #current: OpenStep | undefined;

  /** `steps`: the steps that this decision is about, in order. */
  constructor(steps: readonly StepName[]) {
    this.#steps = steps.map((step) => ({
      step,
      number: stepOf(step).number,
      outcome: 'not reached',
      comparisons: [],
    }));
  }

  get steps(): readonly CheckStep[] {
    return this.#steps;
  }

  /** Whether some step lacked what it needs. */
  get incomplete(): boolean {
    return this.#steps.some(({ outcome }) => outcome === 'absent');
  }

  /** Ends the current step and begins `name`. */
  enter(name: StepName): void {
    this.close();
    const step = this.#steps.find((each) => each.step === name);
    if (!step) throw new TypeError(`step ${name} is no part of this decision`);
    this.#current = step;
  }

  /** Ends the current step: passed, unless it was marked otherwise. */
  close(): void {
    if (this.#current?.outcome === 'not reached') this.#current.outcome = 'passed';
    this.#current = undefined;
  }

  /** Writes down a comparison that holds. `found` stands for that of the question where it is given, here and below. */
  holds(question: Question, found = question.found): void {
    this.#write(question, found, true);
  }

  /** Writes down something that bears on nothing here, or that nobody could judge. */
  note(question: Question, found = question.found): void {
    this.#write(question, found, null);
  }

  /** Writes down a comparison and refuses with `code` unless it holds. */
  require(holds: boolean, code: RefusalCode, question: Question, found = question.found): void {
    if (!holds) this.refuse(code, question, found);
    this.holds(question, found);
  }

  /** Ends the decision with a no. The code must belong to the step that is open. */
  refuse(code: RefusalCode, question: Question, found = question.found): never {
    const refusal = refusalOf(code);
    const step = this.#open;
    if (refusal.step !== step.step) throw new TypeError(`${code} is no refusal of step ${step.step}`);
    this.#write(question, found, false);
    step.outcome = 'refused';
    throw new Refused(refusal);
  }

  /** Takes over what was compared in another trace. */
  adopt(comparisons: readonly Comparison[]): void {
    this.#open.comparisons.push(...comparisons);
  }

  /** Marks the current step as lacking something it needs; what it has is still judged. */
  lacks(question: Question, found = question.found): void {
    this.note(question, found);
    this.#open.outcome = 'absent';
  }

  /** Marks a step as not judged in this decision, and says why. */
  skip(name: StepName, question: Question): void {
    this.enter(name);
    this.note(question);
    this.#open.outcome = 'not judged';
  }

  #write({ what, expected, source }: Question, found: Shown | undefined, ok: boolean | null): void {
    this.#open.comparisons.push({ what, expected, found, ok, source });
  }

  get #open(): OpenStep {
    if (!this.#current) throw new TypeError('no step is open');
    return this.#current;
  }
}

/** The text of a compared value. */
export function shownText(value: Shown): string {
  if (typeof value === 'string') return value;
  if (value instanceof Uint8Array) return toHex(value);
  return typeof value === 'function' ? value() : String(value);
}
