/** Steps 7 and 8 for an image that comes as a delta: what it is applied to, and what arrived. */
import { sourceOf } from '../../../src/bytes/index.ts';
import { edited } from '../../delta/helpers.ts';
import { type DeltaOptions, deltaOf, deltaRelease, memoryFor, WINDOW } from '../deltas.ts';
import { check, imageOf, makerChain, signedBy, unitOf } from '../maker.ts';
import type { Case } from './case.ts';

const chain = await makerChain();
const OLD = imageOf(6000, 3);
const NEW = edited(OLD, 7, 5);

const offered =
  (options: Partial<DeltaOptions>, runs = OLD) =>
  async () => {
    const unit = unitOf(chain, { record: { memory: memoryFor('remapped') } });
    const release = { images: [NEW], precursors: [OLD], seal: signedBy(chain), ...options };
    const running = { ...unit, state: { ...unit.state, running: 0 }, precursor: sourceOf(runs) };
    return check(running, (await deltaRelease(release)).envelope);
  };

export const DELTA_CASES: readonly Case[] = [
  {
    code: 'precursor-wrong',
    title: 'RFC 9124 4.2.10: the unit runs another image than the one the delta was made against',
    verdict: offered({}, edited(OLD, 8, 1)),
  },
  {
    code: 'delta-window-too-large',
    title: 'RFC 3284 4.3: a target window beyond what the unit sets aside',
    verdict: offered({ deltas: [deltaOf(OLD, NEW, WINDOW + 1)] }),
  },
  {
    code: 'delta-altered',
    title: 'RFC 9124 4.3.9: another delta than the one that was sealed',
    verdict: offered({ onTheWay: (delta) => delta.map((byte, i) => (i === 30 ? byte ^ 1 : byte)) }),
  },
  {
    code: 'delta-malformed',
    title: 'RFC 3284 4.1: sealed, and no VCDIFF',
    verdict: offered({ deltas: [imageOf(100, 9)] }),
  },
];
