import { readWritten, type Unplaced } from '../../../workspace/index.ts';
import type { PlanFile } from './schema.ts';

/** More than `share` of a thousand, and at least `least` units, stop a wave. */
export interface StopLimit {
  readonly share: number;
  readonly least: number;
}

/** What stops a wave by itself. */
export interface StopRules {
  readonly refused: StopLimit;
  readonly fellBack: StopLimit;
  readonly silent: StopLimit;
}

/** What a wave must come to, and what stops it; times in seconds. */
export interface WaveRules {
  readonly soak: number;
  /** Of a thousand units of the wave. */
  readonly success: number;
  readonly within: number;
  readonly silence: number;
  readonly stop: StopRules;
}

/** A wave of a plan: units by serial number, or a share of a thousand. */
export interface PlannedWave extends WaveRules {
  readonly name: string;
  readonly serials: readonly string[];
  /** Of a thousand; 0 where the wave names its units. */
  readonly share: number;
}

/** How a release goes out. */
export interface BroadcastPlan {
  readonly className: string;
  /** Seconds. */
  readonly announcedFor: number;
  readonly condition: string | undefined;
  /** Sequence numbers of releases that units take first while they run something older; ascending. */
  readonly steppingStones: readonly number[];
  readonly unpilotedHardware: readonly string[];
  readonly waves: readonly PlannedWave[];
}

/** Reads a plan. Throws `WorkspaceError` file-invalid with every mistake: line, field, what was expected, an example. */
export async function planFromText(text: string, shown: string): Promise<BroadcastPlan> {
  const { planSchema } = await import('./schema.ts');
  return planOf(await readWritten(text, shown, planSchema, planMistakes));
}

/** Mistakes in a plan that its schema alone cannot see. */
export function* planMistakes(file: PlanFile): Generator<Unplaced> {
  yield* reachMistakes(file);
  yield* orderMistakes(file);
}

function* reachMistakes({ waves }: PlanFile): Generator<Unplaced> {
  let before = 0;
  for (const [i, { serials, share }] of waves.entries()) {
    if ((serials === undefined) === (share === undefined)) {
      const says = serials ? 'a wave is by serial numbers or by a share, not both' : 'it says nobody';
      yield { path: ['waves', i, 'share'], expected: 'serials, or a share', says, example: 'share: 50' };
    }
    if (serials && i > 0)
      yield {
        path: ['waves', i, 'serials'],
        expected: 'a share of a thousand',
        says: 'only the first wave, the pilot, names its units',
        example: 'share: 50',
      };
    if (share !== undefined && share <= before)
      yield {
        path: ['waves', i, 'share'],
        expected: `more than ${before}`,
        says: `the wave before has ${before} of a thousand already, and shares grow: a wave holds whom the one before held`,
      };
    before = share ?? before;
  }
}

function* orderMistakes({ waves, stepping_stones: stones = [] }: PlanFile): Generator<Unplaced> {
  for (const [i, { name }] of waves.entries())
    if (waves.findIndex((other) => other.name === name) < i)
      yield {
        path: ['waves', i, 'name'],
        expected: 'a name of its own',
        says: `two waves are called ${name}`,
      };
  for (const [i, number] of stones.entries())
    if (i > 0 && number <= stones[i - 1]!)
      yield {
        path: ['stepping_stones', i],
        expected: `more than ${stones[i - 1]}`,
        says: 'units go from one to the next, and never to a lower number',
      };
}

/** A plan as the rules take it. */
export function planOf(file: PlanFile): BroadcastPlan {
  return {
    className: file.class,
    announcedFor: file.announced_for,
    condition: file.condition,
    steppingStones: file.stepping_stones ?? [],
    unpilotedHardware: file.unpiloted_hardware ?? [],
    waves: file.waves.map((wave) => {
      const { soak = file.soak, success = file.success, within = file.within, silence = file.silence } = wave;
      const { refused, fell_back: fellBack, silent } = wave.stop ?? file.stop;
      const stop = { refused, fellBack, silent };
      const { name, serials = [], share = 0 } = wave;
      return { name, serials, share, soak, success, within, silence, stop };
    }),
  };
}
