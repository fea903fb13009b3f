/** Steps 4 and 8 where a manifest depends on others, or waits. */
import { CborMap, encode } from '../../../src/cbor/index.ts';
import { checkWhole, composedUnit, marlChain, radioRelease, wholeRelease } from '../composed.ts';
import { check, makerChain, signedBy, unitOf } from '../maker.ts';
import { FETCH, sealedRaw, set } from '../raw-release.ts';
import type { Case } from './case.ts';

const own = await makerChain();
const marl = await marlChain();
const seal = signedBy(own);
const unit = composedUnit(own, marl);
const radio = await radioRelease({ seal: signedBy(marl) });

const whole =
  (options: Partial<Parameters<typeof wholeRelease>[0]>, part = radio) =>
  async () =>
    checkWhole(unit, await wholeRelease({ seal, radio: part, ...options }));

/** An install sequence that waits for something first. */
const waits =
  (event: number, value: number | Uint8Array, clock = true, now = new Date('2026-11-27T12:00:00Z')) =>
  async () => {
    const info = encode(new CborMap([[event, value]]));
    const install = [...set([29, info]), 29, 2, ...FETCH];
    return check(unitOf(own, { record: { clock } }), await sealedRaw(seal, { install }), undefined, now);
  };

export const DEPENDENCY_CASES: readonly Case[] = [
  {
    code: 'dependency-missing',
    title: '[TD] 8.1.1: an integrated dependency that was taken out',
    verdict: whole({ radioEnvelope: undefined }),
  },
  {
    code: 'dependency-wrong',
    title: '[TD] 5.6.4: another manifest of the same author',
    verdict: async () => {
      const other = await radioRelease({ seal: signedBy(marl), sequenceNumber: 5 });
      return whole({ radioEnvelope: other.envelope })();
    },
  },
  {
    code: 'dependency-not-authentic',
    title: '[M] 8.3: the right digest, and no signature',
    verdict: async () => whole({}, await radioRelease({ seal: async () => [] }))(),
  },
  {
    code: 'dependencies-not-followed',
    title: '[TD] 5.5: nothing brings it before the rest begins',
    verdict: whole({
      change: (same) => ({
        ...same,
        sequences: new Map([...same.sequences].filter(([name]) => name !== 'dependency-resolution')),
      }),
    }),
  },
  {
    code: 'wait-not-over',
    title: '[UM] 4.5: a time that has not come',
    verdict: waits(5, Date.UTC(2026, 10, 28) / 1000),
  },
  {
    code: 'wait-not-over',
    title: '[UM] 4.5: a time, and no clock',
    verdict: waits(5, Date.UTC(2026, 10, 26) / 1000, false),
  },
  {
    code: 'wait-not-over',
    title: '[UM] 4.5: a second of the day that has not come',
    verdict: waits(8, 43_201),
  },
  { code: 'wait-not-over', title: '[UM] 4.5: a Saturday, on a Friday', verdict: waits(9, 6) },
  {
    code: 'wait-not-over',
    title: '[UM] 4.5: authorization, which nobody can give here',
    verdict: waits(1, 0),
  },
];

/** Waits that are over, for the tests of what is accepted. */
export const WAITS_OVER = [
  ['a time that has come', waits(5, Date.UTC(2026, 10, 27, 12) / 1000)],
  ['a second of the day that has come', waits(8, 43_200)],
  ['a Friday, on a Friday (2026-11-27)', waits(9, 5)],
] as const;
