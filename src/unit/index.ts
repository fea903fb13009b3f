/**
 * The field side: what a unit does with an envelope. It checks it step by step and says why not, installs it into
 * the free slot over a `Flash` port, starts only what verifies again from the memory that will run, and keeps it
 * once it has proved itself. Pure: time, randomness, flash and keys come in from outside. The closed table of
 * refusals lives here and is the only one.
 */
export { type AuthenticityRequest, checkAuthenticity } from './check/authenticity.ts';
export { type CheckRequest, checkForUnit, judgeInstall } from './check/for-unit.ts';
export { judgeStored } from './check/stored.ts';
export type { Effect, Facts, ImageFacts, SignerFacts } from './facts.ts';
export { type JsonPath, UnitRecordError } from './json-read.ts';
export { DIGEST_ALGORITHM, type Scheme, UNIT_PROFILES, type UnitProfile, unitProfile } from './profiles.ts';
export {
  UNIT_FORMAT,
  type UnitAnchor,
  type UnitKey,
  type UnitMacKey,
  type UnitRecord,
  type UnitSecret,
} from './record.ts';
export { readUnitRecord } from './record-read.ts';
export { REFUSALS, type Refusal, type RefusalCode, refusalOf } from './refusals.ts';
export { MAXIMUM_SECURITY_VERSION, SECURITY_VERSION_LABEL } from './security-version.ts';
export {
  emptyState,
  type Fallen,
  type Floors,
  type SlotView,
  type UnitState,
  type UnitView,
} from './state.ts';
export { STEPS, type Step, type StepName, stepOf } from './steps.ts';
export {
  type CheckStep,
  type Comparison,
  type Question,
  type Shown,
  type StepOutcome,
  Trace,
} from './trace.ts';
export { type Answer, CHECK_FORMAT, decide, type Scope, toJson, type Verdict } from './verdict.ts';
