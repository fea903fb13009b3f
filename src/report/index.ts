/**
 * Report: what a unit sends back about an update, and what it is worth. SUIT_Report of draft-ietf-suit-report-18 ([RPT]):
 * read strictly and written in deterministic CBOR, made from what a unit decided or remembers, put into a COSE_Sign1 or
 * COSE_Mac0, and appraised claim by claim against what is on record. Pure: keys, books and flash come in from outside.
 */
export type {
  Appraisal,
  AppraisalBooks,
  AppraisedClaim,
  KnownRelease,
  KnownUnit,
  LastHeard,
} from './appraisal.ts';
export { APPRAISAL_REFUSALS, type AppraisalCode } from './appraisal-rows.ts';
export { appraiseReport } from './appraise.ts';
export {
  AGE_LABEL,
  openSealedReport,
  REPORT_CONTENT_TYPE,
  type ReportSender,
  type SealedReport,
  sealReport,
  senderHeaders,
} from './container.ts';
export { ReportError, type ReportErrorCode } from './error.ts';
export type { ReportOptions } from './finish.ts';
export { NONCE_SIZE, REPORT_LIMIT_TABLE, REPORT_LIMITS } from './limits.ts';
export { deviceOf, narrowestClass } from './measured.ts';
export { rememberUnit, type SlotMemory, type UnitMemory } from './memory.ts';
export { reportOfInstall } from './of-install.ts';
export { reportAbout, reportOfKeep, reportOfStart, reportOfState } from './of-life.ts';
export { type Outcome, outcomeTold } from './outcome.ts';
export { outcomeOf, refusalNamed } from './outcomes.ts';
export { readManifestOf } from './places.ts';
export { readReport } from './read.ts';
export type {
  Capabilities,
  PropertyClaim,
  ReportedFailure,
  SuitRecord,
  SuitReference,
  SuitReport,
} from './report.ts';
export { CAPABILITY_ELEMENTS, REASONS, REPORT_ELEMENTS, SECTIONS } from './tables.ts';
export { type UnitMacPurpose, unitMacKey } from './unit-key.ts';
export { writeReport } from './write.ts';
