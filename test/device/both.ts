/** Puts the same questions to src/unit and to the device kit, and tells where they differ. */
import type { Target } from '../../scripts/device/runner.ts';
import { leftOut } from '../../scripts/device/unit-record.ts';
import type * as UnitRoom from '../../src/unit/index.ts';
import { askKit } from './ask-kit.ts';
import { askUnit } from './ask-unit.ts';
import { declared, isLeftOut } from './differences.ts';
import { type Answer, eachOnce, type Question } from './questions.ts';

/** `npm run device:deep` asks far more than `npm test`. */
export const DEEP = process.env.FIELDSEAL_DEVICE_DEEP === '1';

type Counts = Map<string, number>;

/** What came of a comparison. */
export interface Compared {
  readonly questions: number;
  /** One line for each question that was answered in two ways, and not because the kit leaves something out. */
  readonly differences: readonly string[];
  /** How often what the kit leaves out accounts for two answers, by what it is. */
  readonly declared: Counts;
  /** How often src/unit gave each answer, without what belongs to one case. */
  readonly answers: Counts;
}

/** Asks both. `room`: the unit room, not watched. `targets`: where the kit runs. */
export function compare(
  room: typeof UnitRoom,
  targets: readonly Target[],
  all: readonly Question[],
): Compared {
  const questions = eachOnce(all).filter((each) => !leftOut(each.unit.record) && !isLeftOut(each));
  const expected = questions.map((question) => askUnit(room, question));
  const counts = { answers: new Map<string, number>(), declared: new Map<string, number>() };
  for (const { told } of expected) count(counts.answers, told.split(' ')[0]!);
  const differences = targets.flatMap((target) => {
    const heard = askKit(target, questions);
    return questions.flatMap((question, i) => {
      const leavesOut = declared(question, expected[i]!, heard[i]!);
      if (leavesOut === undefined) return differenceOf(target, question, expected[i]!, heard[i]!);
      count(counts.declared, leavesOut);
      return [];
    });
  });
  return { questions: questions.length, differences, ...counts };
}

const count = (counts: Counts, of: string) => void counts.set(of, (counts.get(of) ?? 0) + 1);

function differenceOf(target: Target, question: Question, expected: Answer, heard: Answer): string[] {
  const what = question.kind === 'view' ? 'check' : question.what;
  const about = `${target}, ${question.unit.record.profile}, ${question.unit.record.memory.shape}, ${what}`;
  if (expected.told !== heard.told) return [`${about}: ${expected.told} | ${heard.told}`];
  if (expected.flash === heard.flash) return [];
  return [`${about}: ${expected.told}, and the flash differs`];
}
