import { FleetError } from './error.ts';
import type { UnitRecord } from './tables.ts';

/** Units found, and where the next page begins. */
export interface Found {
  readonly rows: readonly UnitRecord[];
  readonly next: string | undefined;
}

export function malformed(what: string): FleetError {
  return new FleetError('query-malformed', what, 'begin with the first page, or ask for less');
}
