import { existsSync } from 'node:fs';
import type { Workspace } from '../workspace/index.ts';

/** Environment variable that names a PostgreSQL database in place of the file: it may hold a password. */
const FLEET_VARIABLE = 'FIELDSEAL_FLEET';

/** Where the fleet of a workspace is kept: `private/fleet.sqlite`, which git does not carry, unless the environment names another place. */
export function fleetPlace(workspace: Workspace, environment: NodeJS.ProcessEnv = process.env): string {
  const named = environment[FLEET_VARIABLE];
  return named === undefined || named === '' ? workspace.path('private', 'fleet.sqlite') : named;
}

/** The same, where a fleet is kept already: a database that is named, or a file that is there. */
export function fleetKept(workspace: Workspace): string | undefined {
  const place = fleetPlace(workspace);
  return place.includes('://') || existsSync(place) ? place : undefined;
}
