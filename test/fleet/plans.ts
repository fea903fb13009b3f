/** Plans and standings to begin from, for tests of waves. */
import { type BroadcastPlan, planFromText } from '../../src/fleet/waves/plan/plan.ts';
import {
  type BroadcastStanding,
  NOTHING_KNOWN,
  type WaveCounts,
  type WaveStanding,
} from '../../src/fleet/waves/rules/standing.ts';

export const PLAN_YAML = `format: fieldseal.broadcast-plan/1
class: vent
silence: 3 d
success: 900
within: 14 d
soak: 24 h
announced_for: 14 d
stop:
  refused: { share: 20, least: 2 }
  fell_back: { share: 10, least: 1 }
  silent: { share: 100, least: 3 }
waves:
  - name: pilot
    serials: ["0001", "0002", "0003"]
    soak: 48 h
  - name: first
    share: 50
  - name: everyone
    share: 1000
    soak: 0 s
`;

export const plan = (text = PLAN_YAML): Promise<BroadcastPlan> => planFromText(text, 'waves.yaml');

export const BEGAN = new Date('2031-05-01T06:00:00Z');
const HOUR = 3_600_000;
/** So many hours after the pilot was opened. */
export const hours = (count: number) => new Date(BEGAN.getTime() + count * HOUR);

export const NOBODY: WaveCounts = { units: 0, onTrial: 0, kept: 0, refused: 0, fellBack: 0, silent: 0 };

export const counts = (some: Partial<WaveCounts>): WaveCounts => ({ ...NOBODY, ...some });

export const wave = (some: Partial<WaveStanding>): WaveStanding => ({
  state: 'planned',
  openedAt: undefined,
  since: undefined,
  counts: NOBODY,
  known: NOTHING_KNOWN,
  ...some,
});

/** A wave that was opened when the broadcast began. */
export const opened = (some: Partial<WaveCounts>, more: Partial<WaveStanding> = {}) =>
  wave({ state: 'open', openedAt: BEGAN, since: BEGAN, counts: counts(some), ...more });

export async function running(...waves: WaveStanding[]): Promise<BroadcastStanding> {
  const planned = await plan();
  return { plan: planned, state: 'running', waves: planned.waves.map((_, i) => waves[i] ?? wave({})) };
}
