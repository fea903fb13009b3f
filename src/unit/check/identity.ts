import {
  type Manifest,
  type Outcome,
  type Parameters,
  type ProcessorHost,
  runSequences,
} from '../../suit/index.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Question, Trace } from '../trace.ts';
import { type Circumstances, CLASS, conditionRow, VENDOR } from './condition-rows.ts';
import type { Family } from './family.ts';
import { identifierText } from './identifier-text.ts';

/**
 * Step 6: the shared sequence, run with empty parameters: vendor, class, single unit, slot and further conditions.
 * It must ask for vendor and class. That of each dependency likewise, by itself: its author may have identifiers of its
 * own. draft-ietf-suit-manifest sections 6.1, 6.2 and 7.1.
 */
export function judgeIdentity(
  trace: Trace,
  manifest: Manifest,
  circumstances: Circumstances,
  family?: Family,
): void {
  trace.enter('identity');
  judgeShared(trace, manifest, circumstances);
  for (const { component, manifest: own, circumstances: its } of family?.members ?? []) {
    trace.note({
      what: 'shared sequence of a dependency',
      found: identifierText(component.identifier),
      source: 'draft-ietf-suit-trust-domains 5.1',
    });
    judgeShared(trace, own, its);
  }
}

function judgeShared(trace: Trace, manifest: Manifest, circumstances: Circumstances): void {
  const host = new IdentityHost(trace, circumstances);
  const outcome = runSequences(manifest, 'shared', host);
  if (!outcome.ok) host.refuse(outcome);
  const source = 'draft-ietf-suit-manifest 6.2, 7.1';
  const expected = 'asked for by the shared sequence';
  trace.require(host.met.has(VENDOR), 'vendor-not-named', { what: 'vendor condition', expected, source });
  trace.require(host.met.has(CLASS), 'class-not-named', { what: 'class condition', expected, source });
}

/**
 * Writes down each condition. A failed one is held back: in a try-each another branch may do, and only the one that
 * ends the sequence is a refusal.
 */
class IdentityHost implements ProcessorHost {
  /** Codes of the conditions that held. */
  readonly met = new Set<number>();
  readonly #trace: Trace;
  readonly #circumstances: Circumstances;
  #failed: { readonly code: RefusalCode; readonly question: Question } | undefined;

  constructor(trace: Trace, circumstances: Circumstances) {
    this.#trace = trace;
    this.#circumstances = circumstances;
  }

  condition(condition: number, _component: unknown, parameters: Parameters): Outcome {
    this.#noteFailed();
    const row = conditionRow(condition);
    const question = row.question(parameters, this.#circumstances);
    const code = row.judge(parameters, this.#circumstances);
    if (code) {
      this.#failed = { code, question };
      return { ok: false, reason: code, detail: question.what };
    }
    this.met.add(condition);
    this.#trace.holds(question);
    return { ok: true };
  }

  /** The reader admits none in a shared sequence (draft-ietf-suit-manifest section 6.2). */
  directive(code: number): Outcome {
    return { ok: false, reason: 'condition-failed', detail: `directive ${code} in the shared sequence` };
  }

  /** Refuses for the reason with which the sequence ended. */
  refuse({ reason, detail, at }: Outcome & { ok: false }): never {
    this.#trace.facts.failedAt = at;
    const failed = this.#failed;
    if (failed?.code === reason) return this.#trace.refuse(failed.code, failed.question);
    this.#noteFailed();
    return this.#trace.refuse(reason === 'parameter-missing' ? 'parameter-missing' : 'condition-failed', {
      what: 'shared sequence',
      expected: 'it runs to its end',
      found: detail,
      source: 'draft-ietf-suit-manifest 6.4',
    });
  }

  #noteFailed(): void {
    if (this.#failed) this.#trace.note(this.#failed.question);
    this.#failed = undefined;
  }
}
