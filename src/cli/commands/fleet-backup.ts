import { EXIT } from '../exit.ts';
import { withFleet } from '../fleet.ts';
import { requireFree } from '../require-free.ts';
import type { Call } from '../spec.ts';

/** Writes everything in the store into a file. */
export function run(call: Call): Promise<number> {
  const path = call.args[0]!;
  requireFree(path);
  return withFleet(call, async ({ store }) => {
    const { units, reports, sha256 } = await store.backup(path);
    call.out.line(`${units} units and ${reports} reports written to ${path}`);
    call.out.fact('SHA-256 of its text', sha256);
    call.out.result({ format: 'fieldseal.fleet-backed-up/1', file: path, units, reports, sha256 });
    return EXIT.done;
  });
}
