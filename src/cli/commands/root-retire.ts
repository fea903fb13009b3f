import { retire } from '../retire.ts';
import type { Call } from '../spec.ts';

/** Retires a root. */
export function run(call: Call): Promise<number> {
  return retire(
    call,
    'root',
    `units in the field do not know of it yet: fieldseal trust-update make CLASS --retire-root ${call.args[0]} --signer NAME --out FILE, by a trust signer below the spare root`,
  );
}
