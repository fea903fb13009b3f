/** Puts questions to the device kit, all of one run in one boot. */

import { runCases, type Target } from '../../scripts/device/runner.ts';
import {
  checkMarks,
  flashDigest,
  flashOf,
  install,
  keep,
  powerOn,
  raiseFloors,
  start,
} from '../../scripts/device/unit-cases.ts';
import { classRecord } from '../../scripts/device/unit-record.ts';
import { refusalNumber } from '../../scripts/docs/refusal-header.ts';
import { type Marks, REFUSALS, type UnitState } from '../../src/unit/index.ts';
import { EMPTY_SLOT } from '../../src/unit/marks.ts';
import { encodeRecord, formOf } from '../../src/unit/marks-record.ts';
import type { Answer, FlashQuestion, Question, ViewQuestion } from './questions.ts';

const OK = 'a5c33c96';
const CONFIRMED = '5a1ec769';
const WORDS = new Map([
  ...REFUSALS.map(({ code }) => [refusalNumber(code).toString(16).padStart(8, '0'), code] as const),
  ['00010001', 'incomplete'] as const,
]);
const BODY_SIZES = { 1: 256, 2: 352 };

/** What the kit says, one answer to each question. */
export function askKit(target: Target, questions: readonly Question[]): Answer[] {
  const records: Uint8Array[] = [];
  let [last, content]: [string, Uint8Array | undefined] = ['', undefined];
  for (const question of questions) {
    const made = classRecord(classOf(question));
    const name = Buffer.from(made).toString('latin1');
    if (name !== last) {
      records.push(made);
      [last, content] = [name, undefined];
    }
    if (question.kind === 'view') {
      records.push(viewRecord(question));
      continue;
    }
    if (question.content !== content) {
      records.push(flashOf(question.content));
      content = question.content;
    }
    records.push(powerOn(true, question.running), orderOf(question), flashDigest());
  }
  const lines = runCases(target, 'runner', records);
  return questions.map((question) => answerOf(question, lines));
}

/** What a unit remembers beyond its record is told by its marks; keys that it denies stand in the class. */
function classOf(question: Question) {
  const { unit } = question;
  if (question.kind === 'flash') return unit;
  const denied_signers = question.state.deniedSigners;
  return { ...unit, record: { ...unit.record, denied_signers } };
}

function viewRecord({ unit, state, offer }: ViewQuestion): Uint8Array {
  const { memory } = unit.record;
  const form = formOf(memory);
  const body = encodeRecord(
    marksOf(state),
    { round: 1, position: 0 },
    new Uint8Array(32),
    memory.flash,
    form,
  );
  return checkMarks(state.marksRead ? body.subarray(0, BODY_SIZES[form]) : undefined, state.running, offer);
}

function marksOf({ slots, floors, fallen }: UnitState): Marks {
  const [first, second] = slots.map((slot) =>
    slot.state === 'empty' ? EMPTY_SLOT : { ...slot, envelopeLength: 0 },
  );
  return { slots: [first!, second ?? EMPTY_SLOT], progress: 0, floors, fallen };
}

function orderOf({ what, offer, floors }: FlashQuestion): Uint8Array {
  if (what === 'install') return install(offer!);
  if (what === 'start') return start();
  return what === 'keep' ? keep() : raiseFloors(floors!);
}

function answerOf(question: Question, lines: string[]): Answer {
  if (question.kind === 'view') return { told: planOf(lines.shift()!) };
  const opened = lines.shift()!;
  if (opened !== OK) throw new Error(`the kit cannot be opened over this flash: ${opened}`);
  const line = lines.shift()!;
  const [flash] = lines.shift()!.split(' ');
  const told = { install: planOf, start: startOf, keep: wordOf, raise: wordOf }[question.what](line);
  return { told, flash };
}

const wordOf = (line: string): string => {
  const [status] = line.split(' ');
  return status === OK ? 'accepted' : (WORDS.get(status!) ?? `status ${status}`);
};

/** status, second evidence, effect, slot, number, security version, manifest digest, image size, image digest, operations. */
function planOf(line: string): string {
  const [status, confirmed, effect, , number, version, digest] = line.split(' ');
  if (status !== OK) return wordOf(line);
  if (confirmed !== CONFIRMED) return `accepted, and the second evidence is ${confirmed}`;
  return ['accepted', effect, number, version, digest].join(' ');
}

/** status, second evidence, running, on trial, number, image size, image digest, then slot and refusal of those passed over. */
function startOf(line: string): string {
  const [status, confirmed, running, onTrial, number, , , ...passed] = line.split(' ');
  const over = passed.flatMap((slot, i) => (i % 2 === 0 ? [`${slot}:${wordOf(passed[i + 1]!)}`] : []));
  if (status !== OK) return [wordOf(line), ...over].join(' ');
  if (confirmed !== CONFIRMED) return `runs, and the second evidence is ${confirmed}`;
  const what = running === '2' ? 'recovery' : running;
  return ['runs', what, onTrial, number, ...over].join(' ');
}
