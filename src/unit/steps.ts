/** The twelve steps of a unit's decision, in the only order in which they are ever judged. */

/** One step of the decision. `number` counts from 1 and is the order. */
export interface Step {
  readonly number: number;
  readonly name: StepName;
  /** The question that the step answers. */
  readonly asks: string;
  /** What a refusal at this step leaves behind. */
  readonly leaves: string;
}

/** Names of the steps, as traces, refusals and documents write them. */
export type StepName =
  | 'envelope'
  | 'signer'
  | 'authentication'
  | 'manifest'
  | 'freshness'
  | 'identity'
  | 'fit'
  | 'content'
  | 'image'
  | 'commit'
  | 'start'
  | 'keep';

const UNTOUCHED = 'flash untouched';
const RUNNING_SLOT_UNTOUCHED = 'the running slot and its marks untouched';

export const STEPS: readonly Step[] = [
  { number: 1, name: 'envelope', asks: 'Is it a whole, well-formed envelope?', leaves: UNTOUCHED },
  { number: 2, name: 'signer', asks: 'Who sealed it, and may they?', leaves: UNTOUCHED },
  { number: 3, name: 'authentication', asks: 'Is the seal theirs?', leaves: UNTOUCHED },
  { number: 4, name: 'manifest', asks: 'Is every instruction understood?', leaves: UNTOUCHED },
  { number: 5, name: 'freshness', asks: 'Is it newer than what is on board?', leaves: UNTOUCHED },
  { number: 6, name: 'identity', asks: 'Is it meant for this unit?', leaves: UNTOUCHED },
  { number: 7, name: 'fit', asks: 'Does it fit where it goes?', leaves: UNTOUCHED },
  { number: 8, name: 'content', asks: 'Is everything it needs at hand?', leaves: RUNNING_SLOT_UNTOUCHED },
  { number: 9, name: 'image', asks: 'Is the image the one that was sealed?', leaves: RUNNING_SLOT_UNTOUCHED },
  { number: 10, name: 'commit', asks: 'Is the new slot marked ready?', leaves: RUNNING_SLOT_UNTOUCHED },
  {
    number: 11,
    name: 'start',
    asks: 'Is what would run still genuine?',
    leaves: 'the next slot to be tried',
  },
  {
    number: 12,
    name: 'keep',
    asks: 'Did it prove itself?',
    leaves: 'the former image and the former floors',
  },
];

const BY_NAME: ReadonlyMap<StepName, Step> = new Map(STEPS.map((step) => [step.name, step]));

/** The row of a step. */
export function stepOf(name: StepName): Step {
  return BY_NAME.get(name)!;
}
