/** Puts questions to src/unit, as a unit that was built without what the kit leaves out. */

import type { KitOffer } from '../../scripts/device/unit-cases.ts';
import { concat, sourceOf, toHex } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type * as UnitRoom from '../../src/unit/index.ts';
import { flashLayout, type UnitRecord, type UnitView } from '../../src/unit/index.ts';
import { plainFlash } from './plain-flash.ts';
import type { Answer, AskedUnit, FlashQuestion, Question, ViewQuestion } from './questions.ts';

/** The one algorithm that the kit decrypts with: AES-128-CTR, its key by A128KW. */
const DECRYPTING = 'suit-sha256-hmac-a128kw-a128ctr';

const reducedRecords = new WeakMap<UnitRecord, UnitRecord>();

/** The record of the same unit without deltas and policy area, and without keys for other ways of decrypting. */
function reduced(record: UnitRecord): UnitRecord {
  const { delta_window: _, ...memory } = record.memory;
  const made = reducedRecords.get(record) ?? { ...record, memory };
  reducedRecords.set(record, made);
  return made;
}

const reducedUnit = ({ record, unwrappers, ...unit }: AskedUnit): AskedUnit => ({
  ...unit,
  record: reduced(record),
  unwrappers: record.profile === DECRYPTING ? unwrappers : [],
});

/** What src/unit says. `room`: the unit room itself, not watched. */
export function askUnit(room: typeof UnitRoom, question: Question): Answer {
  return question.kind === 'view' ? askView(room, question) : askFlash(room, question);
}

const requestOf = ({ envelope, image, now }: KitOffer) => ({
  envelope: sourceOf(envelope),
  ...(image && { image: sourceOf(image) }),
  now,
});

type Outcome = Pick<UnitRoom.Verdict, 'verdict' | 'refusal'>;

const wordOf = ({ verdict, refusal }: Outcome): string => refusal?.code ?? verdict;

function askView(room: typeof UnitRoom, { unit, state, offer }: ViewQuestion): Answer {
  const { record, macKeys, unwrappers = [] } = reducedUnit(unit);
  const view: UnitView = { record, macKeys, unwrappers, state };
  const { facts, ...outcome } = room.checkForUnit({ unit: view, ...requestOf(offer) });
  return { told: planOf(outcome, facts) };
}

const EFFECTS = ['new install', 'resume', 'already there'];

function planOf(outcome: Outcome, facts: UnitRoom.Verdict['facts']): string {
  if (outcome.verdict !== 'accepted') return wordOf(outcome);
  const { effect, sequenceNumber, securityVersion = 0, manifestDigest } = facts;
  return ['accepted', EFFECTS.indexOf(effect!), sequenceNumber, securityVersion, toHex(manifestDigest!)].join(
    ' ',
  );
}

function askFlash(room: typeof UnitRoom, question: FlashQuestion): Answer {
  const unit = reducedUnit(question.unit);
  const { memory } = unit.record;
  const content = question.content.slice();
  const flash = plainFlash(content, memory.flash);
  const running = { running: question.running };
  const powered = room.openUnit({ ...unit, flash, memory: running });
  const told = () => {
    if (question.what === 'install') {
      const { facts, ...outcome } = powered.install(requestOf(question.offer!));
      return planOf(outcome, facts);
    }
    if (question.what === 'start') return startOf(unit.record, powered.start(), running.running);
    return wordOf(question.what === 'keep' ? powered.keep() : powered.raiseFloors(question.floors!));
  };
  const heard = told();
  return { told: heard, flash: flashOf(content, unit.record) };
}

/** What runs, on trial or not, and the slots passed over with their refusals. */
function startOf(record: UnitRecord, result: UnitRoom.StartResult, running: unknown): string {
  const passed = result.passedOver.map(
    ({ slot, refusal }) => `${record.memory.slots.findIndex(({ name }) => name === slot)}:${refusal.code}`,
  );
  if (!result.started) return [wordOf(result), ...passed].join(' ');
  const { state, facts } = result.started;
  return ['runs', running, state === 'on trial' ? 1 : 0, facts?.sequenceNumber ?? 0, ...passed].join(' ');
}

/** SHA-256 over what both keep: slots, envelopes, state. */
export function flashOf(content: Uint8Array, record: UnitRecord): string {
  const { slots, envelopes, state } = flashLayout(record.memory);
  const parts = [...slots, ...envelopes, state].map(({ offset, size }) =>
    content.subarray(offset, offset + size),
  );
  return toHex(sha256(concat(...parts)));
}
