/**
 * Fleet: the units in the field, what they run and said, and how broadcasts reach them. The store keeps it, in a file of SQLite or in
 * PostgreSQL; it is loaded when it is opened.
 */
export { takeAppraisal } from './intake/appraisals.ts';
export { reportListener } from './intake/http.ts';
export { Intake, type IntakeCounts, type IntakeResult } from './intake/intake.ts';
export { Newcomers } from './intake/newcomers.ts';
export { recordedUnits } from './intake/recorded-units.ts';
export { type InventoryMistake, inventoryRows } from './inventory.ts';
export { fleetKept, fleetPlace } from './place.ts';
export { openFleet } from './store/open.ts';
export type {
  BackupFacts,
  Broadcast,
  BroadcastChange,
  BroadcastState,
  EventQuery,
  FleetCounts,
  FleetEvent,
  FleetStore,
  FleetUnit,
  HistoryEntry,
  ImportedUnits,
  Lease,
  NewBroadcast,
  NewEvent,
  OfferedRelease,
  Page,
  ReportOutcome,
  RestoredFacts,
  SeenNumbers,
  Taken,
  UnitAttestation,
  UnitName,
  UnitQuery,
  UnitRefusal,
  UnitReport,
  UnitRow,
  UnitState,
  Wave,
  WaveChange,
  WaveCounts,
  WaveReach,
  WaveState,
} from './store/types.ts';
export { UNIT_STATES, WAVE_STATES } from './store/types.ts';
export { type Begun, begin, type NewCourse } from './waves/course/begin.ts';
export { liesIn } from './waves/course/course.ts';
export { currentBroadcast } from './waves/course/current.ts';
export { type Judged, type Judgement, judgementJson, judgePlan } from './waves/course/judge.ts';
export { halt, type Order, pause, resume } from './waves/course/orders.ts';
export { draftPlan } from './waves/plan/draft.ts';
export { type BroadcastPlan, planFromText } from './waves/plan/plan.ts';
export { type Reissue, type Reissued, reissueOf } from './waves/reissue.ts';
export type { Decision } from './waves/rules/decide.ts';
export { broadcastJson, lateUnits } from './waves/screen.ts';
export type { Voice } from './waves/steer/proclaim.ts';
export { type Look, Steering, type SteeringPorts } from './waves/steer/steering.ts';
