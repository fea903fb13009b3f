import { type FleetStore, fleetPlace, openFleet } from '../fleet/index.ts';
import type { Session } from './session.ts';

/** The fleet store of the workspace, or the one that the environment names. Throws `FleetError`. */
export function openFleetOf({ workspace }: Session): Promise<FleetStore> {
  return openFleet(fleetPlace(workspace));
}
