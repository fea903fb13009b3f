import { pause } from '../../fleet/index.ts';
import { carryOutOrder } from '../order.ts';
import type { Call } from '../spec.ts';

/** Pauses a broadcast: nothing is offered until it is resumed. */
export function run(call: Call): Promise<number> {
  return carryOutOrder(call, pause);
}
