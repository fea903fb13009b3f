import { drawnAt } from '../../../broadcast/index.ts';
import { fromHex } from '../../../bytes/index.ts';
import type { PlannedWave } from '../plan/plan.ts';
import type { Course } from './course.ts';

type Placed = Pick<Course, 'lot' | 'named'> & {
  readonly plan: { readonly waves: readonly Pick<PlannedWave, 'share' | 'serials'>[] };
};

/**
 * The number, counted from 1, of the first wave that reaches a unit; undefined where none does. Units that the pilot names
 * are in it; the others are drawn by the lot, as the units themselves draw (`inReach`). `device`: 32 hexadecimal digits.
 */
export function waveOf({ plan, lot, named }: Placed): (device: string) => number | undefined {
  const pilot = new Set(named);
  return (device) => {
    if (pilot.has(device)) return 1;
    const drawn = drawnAt(lot, fromHex(device));
    const at = plan.waves.findIndex(({ share }) => drawn < share);
    return at < 0 ? undefined : at + 1;
  };
}
