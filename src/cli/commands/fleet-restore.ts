import { appendEntry, readLedger, type Workspace } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { withFleet } from '../fleet.ts';
import type { Call } from '../spec.ts';

/** Adds what a backup holds and the store does not. */
export function run(call: Call): Promise<number> {
  const path = call.args[0]!;
  return withFleet(call, async ({ workspace, store }) => {
    const restored = await store.restore(path, { broadcast: highestBroadcast(workspace) });
    const { made, unitsAdded, reportsAdded, broadcastsPaused, sha256 } = restored;
    const facts = {
      made: made.toISOString(),
      sha256,
      units_added: unitsAdded,
      reports_added: reportsAdded,
      broadcasts_paused: [...broadcastsPaused],
    };
    appendEntry(workspace, 'fleet-restored', facts);
    call.out.line(`backup of ${facts.made}: ${unitsAdded} units and ${reportsAdded} reports added`);
    for (const id of broadcastsPaused)
      call.out.caution(
        `broadcast ${id} was under way and came back paused: compare it with the ledger and the depot before you resume it`,
      );
    call.out.result({ format: 'fieldseal.fleet-restored/1', file: path, ...facts });
    return EXIT.done;
  });
}

/** The highest broadcast that the ledger names: its number is not given again. */
function highestBroadcast(workspace: Workspace): number | undefined {
  const named = readLedger(workspace).flatMap(({ facts: { broadcast } }) =>
    Number.isSafeInteger(broadcast) ? (broadcast as number) : [],
  );
  return named.length === 0 ? undefined : Math.max(...named);
}
