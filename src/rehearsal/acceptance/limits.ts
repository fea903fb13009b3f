import type { LimitTable } from '../../bytes/index.ts';

/** What is read of an inventory, and remembered of it. */
export const ACCEPTANCE_LIMITS = {
  groups: {
    value: 100_000,
    unit: 'groups',
    reason: 'of units that differ to one payload; the comparisons of no payload tell so many apart',
  },
  recordCharacters: {
    value: 1 << 20,
    unit: 'characters',
    reason: 'of one row of an inventory: without a bound a missing quote would take the whole file for one',
  },
  textsOfAFact: {
    value: 50_000,
    unit: 'texts',
    reason: 'of one fact are remembered, so that each is looked at once; more are looked at again',
  },
  mistakes: {
    value: 200,
    unit: 'kinds',
    reason: 'of mistakes in an inventory are told apart; the rest is counted together',
  },
} as const satisfies LimitTable;
