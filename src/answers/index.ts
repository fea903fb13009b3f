/**
 * Answers: what both faces, command line and desk, tell about a workspace, in one form for programs. Reads, never
 * changes; knows nothing of terminals, HTTP or secrets.
 */
export { type Anatomy, anatomyJson, anatomyOf } from './anatomy.ts';
export { counterJson } from './counter.ts';
export type { FoundCertificate } from './find-certificates.ts';
export {
  type ClassNames,
  classNames,
  fleetCountsJson,
  fleetEventJson,
  fleetUnitJson,
  historyJson,
} from './fleet.ts';
export { FLEET_CSV_HEAD, fleetCsvLine } from './fleet-csv.ts';
export { certificateJson, keyJson } from './key.ts';
export { type KeyStanding, keyStandings, keysJson } from './keys.ts';
export { numberJson } from './number.ts';
export { releasesJson } from './releases.ts';
export { standingJson } from './standing.ts';
export { trustJson } from './trust.ts';
export { unitJson } from './unit.ts';
