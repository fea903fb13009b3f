/**
 * Incident: what a leaked key exposes, and what to do about it in order. Reads keys, certificates, releases and units of a
 * workspace; what was done stands in the ledger and is found there again. Makes nothing itself: each step names the command.
 */

export { CLOCK_SOURCE } from './clocks.ts';
export { incidentJson, writeIncidentFile } from './document.ts';
export { DRILLS, type Move, type Play, Stage, type StageFiles } from './drill/index.ts';
export { type Exposure, exposureJson, exposureOf } from './exposure.ts';
export {
  closeIncident,
  type Incident,
  listIncidents,
  markDone,
  openIncident,
  type StepStanding,
  showIncident,
} from './incident.ts';
export { INCIDENT_KINDS } from './kinds.ts';
export type { Making } from './making.ts';
