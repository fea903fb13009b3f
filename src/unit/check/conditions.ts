import { equal, toHex } from '../../bytes/index.ts';
import { COMMANDS, formatUuid, type Outcome, type Parameters } from '../../suit/index.ts';
import { prepareRecord } from '../prepared.ts';
import type { RefusalCode } from '../refusals.ts';
import type { UnitView } from '../state.ts';
import type { Question, Trace } from '../trace.ts';

/** What conditions are judged against. */
export interface Circumstances {
  readonly unit: UnitView;
  /** Index of the slot that is to be filled, or that is to start. */
  readonly slot: number;
  /** The time by the unit's clock; undefined where it has none. */
  readonly at: Date | undefined;
}

interface Judgement {
  readonly holds: boolean;
  readonly code: RefusalCode;
  readonly question: Question;
}

const SOURCE = 'draft-ietf-suit-manifest 8.4.8.2, 8.4.9.1';
const VENDOR = 1;
const CLASS = 2;

type Judge = (parameters: Parameters, circumstances: Circumstances) => Judgement;

/** Conditions that a unit can judge, by their code. Every other one counts as failed. */
const JUDGES: ReadonlyMap<number, Judge> = new Map<number, Judge>([
  [VENDOR, judgeVendor],
  [CLASS, judgeClass],
  [4, judgeUseBefore],
  [5, judgeSlot],
  [24, judgeDevice],
]);

/**
 * The conditions of a shared sequence, judged for one unit (draft-ietf-suit-manifest section 8.4.9). A failed one is
 * held back: in a try-each another branch may do, and only the last one is a refusal.
 */
export class UnitConditions {
  /** Codes of the conditions that held. */
  readonly met = new Set<number>();
  readonly #trace: Trace;
  readonly #circumstances: Circumstances;
  #failed: Judgement | undefined;

  constructor(trace: Trace, circumstances: Circumstances) {
    this.#trace = trace;
    this.#circumstances = circumstances;
  }

  /** Judges one condition and writes it down. */
  judge(code: number, parameters: Parameters): Outcome {
    this.#noteFailed();
    const judgement = (JUDGES.get(code) ?? judgeUnknown(code))(parameters, this.#circumstances);
    if (judgement.holds) {
      this.met.add(code);
      this.#trace.holds(judgement.question);
      return { ok: true };
    }
    this.#failed = judgement;
    return { ok: false, reason: judgement.code, detail: judgement.question.what };
  }

  /** Refuses for the reason that a sequence ended with. */
  refuse({ reason, detail }: Outcome & { ok: false }): never {
    const failed = this.#failed;
    if (failed?.code === reason) return this.#trace.refuse(failed.code, failed.question);
    this.#noteFailed();
    const code = reason === 'parameter-missing' ? 'parameter-missing' : 'condition-failed';
    const question = {
      what: 'shared sequence',
      expected: 'it runs to its end',
      source: 'draft-ietf-suit-manifest 6.4',
    };
    return this.#trace.refuse(code, { ...question, found: detail });
  }

  #noteFailed(): void {
    if (this.#failed) this.#trace.note(this.#failed.question);
    this.#failed = undefined;
  }
}

function judgeVendor(parameters: Parameters, { unit }: Circumstances): Judgement {
  const named = parameters.get(1);
  const { vendorId } = prepareRecord(unit.record);
  const question = {
    what: 'vendor identifier',
    expected: unit.record.vendor_id,
    found: () => (named instanceof Uint8Array ? formatUuid(named) : `enterprise number ${toHex(named!.pen)}`),
    source: SOURCE,
  };
  return { holds: named instanceof Uint8Array && equal(named, vendorId), code: 'vendor-wrong', question };
}

function judgeClass(parameters: Parameters, { unit }: Circumstances): Judgement {
  const named = parameters.get(2)!;
  const question = {
    what: 'class identifier',
    expected: () => unit.record.class_ids.join(' or '),
    found: () => formatUuid(named),
    source: SOURCE,
  };
  const holds = prepareRecord(unit.record).classIds.some((own) => equal(own, named));
  return { holds, code: 'class-wrong', question };
}

function judgeDevice(parameters: Parameters, { unit }: Circumstances): Judgement {
  const named = parameters.get(24)!;
  const question = {
    what: 'device identifier',
    expected: unit.record.device_id,
    found: () => formatUuid(named),
    source: SOURCE,
  };
  return { holds: equal(prepareRecord(unit.record).deviceId, named), code: 'device-wrong', question };
}

function judgeSlot(parameters: Parameters, { slot, unit }: Circumstances): Judgement {
  const question = {
    what: 'component slot',
    expected: () => `${slot}, slot ${unit.record.memory.slots[slot]!.name}`,
    found: parameters.get(5)!,
    source: 'draft-ietf-suit-manifest 8.4.9.4',
  };
  return { holds: parameters.get(5) === slot, code: 'slot-not-offered', question };
}

/** Seconds since 1970, compared in 64 bits (draft-ietf-suit-update-management sections 4.1 and 5.1). */
function judgeUseBefore(parameters: Parameters, { at }: Circumstances): Judgement {
  const end = parameters.get(4)!;
  const question = {
    what: 'time by the clock of the unit, seconds since 1970',
    expected: () => `before ${end}`,
    source: 'draft-ietf-suit-update-management 5.1',
  };
  if (!at) return { holds: false, code: 'clock-needed', question: { ...question, found: 'no clock' } };
  const now = BigInt(Math.floor(at.getTime() / 1000));
  return { holds: now < end, code: 'use-before-passed', question: { ...question, found: now } };
}

function judgeUnknown(code: number): Judge {
  return () => ({
    holds: false,
    code: 'condition-failed',
    question: {
      what: COMMANDS.get(code)?.name ?? `condition ${code}`,
      expected: 'a condition that this unit can judge here',
      found: 'it counts as failed',
      source: 'draft-ietf-suit-manifest 8.4.9',
    },
  });
}

/** Whether both the vendor and the class were compared, which every manifest for a unit has to ask for. */
export function requireNamed(trace: Trace, met: ReadonlySet<number>): void {
  const source = 'draft-ietf-suit-manifest 6.2, 7.1';
  const expected = 'asked for by the shared sequence';
  trace.require(met.has(VENDOR), 'vendor-not-named', { what: 'vendor condition', expected, source });
  trace.require(met.has(CLASS), 'class-not-named', { what: 'class condition', expected, source });
}
