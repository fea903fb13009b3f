import { type HssChoice, USUAL_HSS } from '../authority/index.ts';
import { type KeyType, parseHssShape } from '../crypto/index.ts';
import { wrongUse } from './exit.ts';
import type { Call } from './spec.ts';

/** The key type that --algorithm asks for; P-256 where it is not given. */
export function keyTypeOf(call: Call): KeyType {
  return (call.text('algorithm') as KeyType | undefined) ?? 'p256';
}

/** What --parameters and --exception say of an HSS/LMS key; undefined for other key types, which take neither. */
export function hssChoiceOf(call: Call): HssChoice | undefined {
  const parameters = call.text('parameters');
  const exception = call.text('exception');
  if (keyTypeOf(call) !== 'hss-lms') {
    if (parameters === undefined && exception === undefined) return undefined;
    throw wrongUse(
      '--parameters and --exception are for hss-lms',
      'add --algorithm hss-lms, or leave them out',
    );
  }
  const shape = parseHssShape(parameters ?? USUAL_HSS);
  if (!shape) {
    throw wrongUse(
      `${parameters} names no parameter sets of HSS/LMS that are made here`,
      'per tree, top first: height 5, 10, 15 or 20 and width 1, 2, 4 or 8, such as H10/W4 or H10/W8,H10/W8; 24-byte hashes with N24/ before each; together not higher than 60',
    );
  }
  return {
    shape,
    exception,
    progress: (done, total) => call.out.progress('growing a tree', done, total),
  };
}
