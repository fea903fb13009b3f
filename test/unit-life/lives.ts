import { mustInstall, mustKeep, mustStart, type Phase } from './cut-proof.ts';
import { imageOf, release } from './fake-decision.ts';

export const FIRST = release(1, imageOf(200, 1));
export const SECOND = release(2, imageOf(130, 2), 1);
export const THIRD = release(3, imageOf(256, 3), 1);
export const RELEASES = [FIRST, SECOND, THIRD];

/** A life on two slots: a first image, an update that is kept, a floor, an update that falls back. */
export const TWO_SLOTS: readonly Phase[] = [
  { name: 'first install', act: (unit) => mustInstall(unit, FIRST), allowed: ['nothing', 1], after: 1 },
  { name: 'first start', act: (unit) => mustStart(unit, 1), allowed: [1], after: 1 },
  { name: 'keep the first', prelude: (unit) => mustStart(unit, 1), act: mustKeep, allowed: [1], after: 1 },
  {
    name: 'install the second',
    prelude: (unit) => mustStart(unit, 1),
    act: (unit) => mustInstall(unit, SECOND),
    allowed: [1, 2],
    after: 2,
  },
  {
    name: 'start and keep the second',
    act: (unit) => {
      mustStart(unit, 2);
      mustKeep(unit);
    },
    allowed: [1, 2],
    after: 2,
  },
  {
    name: 'raise the floors',
    prelude: (unit) => mustStart(unit, 2),
    act: (unit) => {
      if (unit.raiseFloors({ signerGeneration: 5 }).refusal) throw new Error('floors refused');
    },
    allowed: [2],
    after: 2,
  },
  {
    name: 'install the third over the first',
    prelude: (unit) => mustStart(unit, 2),
    act: (unit) => mustInstall(unit, THIRD),
    allowed: [2, 3],
    after: 3,
  },
  { name: 'start the third', act: (unit) => mustStart(unit, 3), allowed: [2, 3], after: 2 },
  { name: 'fall back from the third', act: (unit) => mustStart(unit, 2), allowed: [2], after: 2 },
];

/**
 * A life on one running slot and a staging area. `way back`: what starts when an image is not kept: the recovery
 * image, or, without one, the image itself once more.
 */
export function stagedLife(recovery: boolean): readonly Phase[] {
  const nothing = recovery ? 'recovery' : 'nothing';
  const back = (number: number) => (recovery ? 'recovery' : number);
  return [
    {
      name: 'first install',
      act: (unit) => mustInstall(unit, FIRST),
      allowed: [nothing, 1],
      allowedTwice: [nothing, 1, back(1)],
      after: 1,
    },
    {
      name: 'move in and start the first',
      act: (unit) => mustStart(unit, 1),
      allowed: [1, back(1)],
      after: back(1),
    },
    ...(recovery
      ? [{ name: 'install it again', act: reinstallFirst, allowed: ['recovery', 1] as const, after: 1 }]
      : []),
    {
      name: 'keep the first',
      prelude: (unit) => mustStart(unit, 1),
      act: mustKeep,
      allowed: [1, back(1)],
      after: 1,
    },
    {
      name: 'install the second',
      prelude: (unit) => mustStart(unit, 1),
      act: (unit) => mustInstall(unit, SECOND),
      allowed: [1, 2],
      allowedTwice: [1, 2, back(2)],
      after: 2,
    },
    {
      name: 'move in, start and keep the second',
      act: (unit) => {
        mustStart(unit, 2);
        mustKeep(unit);
      },
      allowed: [2, back(2)],
      after: 2,
    },
  ];
}

/** The first image was never kept: the recovery image runs and fetches it again. */
function reinstallFirst(unit: Parameters<Phase['act']>[0]): void {
  mustStart(unit, 'recovery');
  mustInstall(unit, FIRST);
}
