import { resume } from '../../fleet/index.ts';
import { carryOutOrder } from '../order.ts';
import type { Call } from '../spec.ts';

/** Goes on with a broadcast that was paused, or that a rule stopped. */
export function run(call: Call): Promise<number> {
  return carryOutOrder(call, resume);
}
