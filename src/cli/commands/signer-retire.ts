import { retire } from '../retire.ts';
import type { Call } from '../spec.ts';

/** Retires a signer. */
export function run(call: Call): Promise<number> {
  return retire(
    call,
    'signer',
    `units in the field do not know of it yet: fieldseal trust-update make CLASS --deny ${call.args[0]} --out FILE`,
  );
}
