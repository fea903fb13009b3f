import { halt } from '../../fleet/index.ts';
import { carryOutOrder } from '../order.ts';
import type { Call } from '../spec.ts';

/** Ends a broadcast for good, and takes the offer back. */
export function run(call: Call): Promise<number> {
  return carryOutOrder(call, halt);
}
