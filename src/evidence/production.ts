import {
  type JsonObject,
  type LedgerEntry,
  listRecords,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import type { Evidence } from './schema.ts';

/** What the records of provisioned units say: how many there are, how many with a proved lock and a closed debug port. */
export function productionOf(workspace: Workspace, className: string): Evidence['production'] {
  const units = listRecords(workspace, 'units', className).map(
    (name) => readRecord(workspace, 'units', name.split('/')).facts,
  );
  const locked = units.filter(({ overwrite_attempt }) => {
    const attempt = overwrite_attempt as JsonObject | undefined;
    return attempt?.attempted === true && attempt.observed === 'refused';
  });
  return {
    units: units.length,
    lock_proved: locked.length,
    debug_closed: units.filter(({ debug }) => debug === 'closed').length,
    batches: new Set(units.map(({ batch }) => String(batch))).size,
  };
}

/** The last decision record of the class that the ledger names before the release was sealed. */
export function planOf(className: string, before: number, entries: readonly LedgerEntry[]): Evidence['plan'] {
  const decided = entries
    .filter(
      ({ kind, number, facts }) => kind === 'plan-decided' && number < before && facts.class === className,
    )
    .at(-1);
  if (!decided) return null;
  const { decided_by, planned, files, conflicts } = decided.facts;
  return {
    entry: decided.number,
    decided_by: String(decided_by),
    planned: String(planned),
    files: Array.isArray(files) ? files.map(String) : [],
    conflicts: Array.isArray(conflicts) ? conflicts.map(String) : [],
  };
}
