/** What is rehearsed: a payload, and the unit that is to take it. */
import { sourceOf } from '../../bytes/index.ts';
import { CborError } from '../../cbor/index.ts';
import type { KeyUnwrapper } from '../../cose/index.ts';
import { randomBytes } from '../../crypto/index.ts';
import { SuitError } from '../../suit/index.ts';
import {
  checkForUnit,
  emptyState,
  type RefusalCode,
  type StepName,
  stepOf,
  type UnitRecord,
  type UnitState,
  type UnitView,
  type Verdict,
} from '../../unit/index.ts';
import { Draft } from './draft.ts';
import { type Offer, type Parts, takeApart } from './parts.ts';

/** A payload and the unit it is rehearsed against. */
export interface Subject {
  readonly offer: Offer;
  readonly record: UnitRecord;
  /** What the unit remembers; absent: the payload's predecessor is on board and nothing else. */
  readonly state?: UnitState | undefined;
  /** Secret MAC keys by id, where they are at hand without asking anybody. */
  readonly macKeys?: ReadonlyMap<string, Uint8Array> | undefined;
  /** What opens encrypted images, likewise. */
  readonly unwrappers?: readonly KeyUnwrapper[] | undefined;
  /** What a clock of the unit reads. */
  readonly now: Date;
}

/** The payload against the unit as it is, with the keys that are at hand. */
export interface Genuine {
  readonly unit: UnitView;
  readonly verdict: Verdict;
  /** The last step that could be judged with the keys at hand; `image` where all could. */
  readonly until: StepName;
}

const KEYLESS: Partial<Record<StepName, readonly RefusalCode[]>> = {
  authentication: ['mac-wrong'],
  content: ['recipient-missing', 'content-key-wrong'],
};

/**
 * What the unit says to the payload. Where its MAC key or decryption key is not at hand, everything up to the step that
 * needs it is judged: a refusal there that only says so is no refusal of the payload.
 */
export function judgeGenuine(subject: Subject): Genuine {
  const { record, offer, now, macKeys, unwrappers } = subject;
  const unit: UnitView = {
    record,
    macKeys: macKeys ?? new Map(record.mac_keys.map(({ id }) => [id, randomBytes(32)])),
    unwrappers: unwrappers ?? [],
    state: subject.state ?? afterPredecessor(record, offer),
  };
  const { envelope, image } = offer;
  const verdict = checkForUnit({
    unit,
    envelope: sourceOf(envelope),
    ...(image && { image: sourceOf(image) }),
    now,
  });
  return { unit, verdict, until: judgedUntil(subject, verdict) };
}

function judgedUntil({ macKeys, unwrappers }: Subject, { refusal }: Verdict): StepName {
  if (refusal?.step === 'authentication' && macKeys === undefined && isKeyless(refusal)) return 'signer';
  if (refusal?.step === 'content' && unwrappers === undefined && isKeyless(refusal)) return 'fit';
  return 'image';
}

function isKeyless({ step, code }: NonNullable<Verdict['refusal']>): boolean {
  return KEYLESS[step]?.includes(code) ?? false;
}

/** Whether the keys at hand suffice for a forgery that falls at a step. */
export function reaches({ until }: Genuine, step: StepName): boolean {
  return stepOf(step).number <= stepOf(until).number;
}

/** The refusal that stands in the way of a rehearsal, or null. */
export function standsInTheWay({ verdict, until }: Genuine): Verdict['refusal'] {
  return until === 'image' ? verdict.refusal : null;
}

/** A unit on which the release before this one was installed and kept. */
function afterPredecessor(record: UnitRecord, { envelope }: Offer): UnitState {
  const empty = emptyState(record);
  const number = numberIn(envelope);
  if (number === undefined || number === 0n) return empty;
  const kept = { state: 'kept', sequenceNumber: number - 1n, manifestDigest: randomBytes(32) } as const;
  const { sequenceNumber } = empty.floors;
  const floor = sequenceNumber > number - 1n ? sequenceNumber : number - 1n;
  return {
    ...empty,
    slots: [kept, { state: 'empty' }],
    running: 0,
    floors: { ...empty.floors, sequenceNumber: floor },
  };
}

function numberIn(envelope: Uint8Array): bigint | undefined {
  const parts = partsIn(envelope);
  return parts && new Draft(parts).number;
}

/** The parts of an envelope whose manifest can be opened, or undefined. */
export function partsIn(envelope: Uint8Array): Parts | undefined {
  try {
    const parts = takeApart(sourceOf(envelope));
    void new Draft(parts).number;
    return parts;
  } catch (error) {
    if (error instanceof SuitError || error instanceof CborError || error instanceof TypeError)
      return undefined;
    throw error;
  }
}
