/**
 * Verifier (RFC 9334 section 2): challenges that are taken down in a workspace, and answers appraised against its records.
 * Each result is entered before it is told, whichever face asked.
 */
export { appraisalJson, appraiseOnRecord } from './appraise-on-record.ts';
export type { GivenReferences, VerifierSession } from './books.ts';
export { makeChallenge, type NewChallenge, notMeasurable } from './make-challenge.ts';
export { openReferences, type ReferenceFiles, recoveryImage } from './reference-images.ts';
export {
  knownReleases,
  openReportBooks,
  type ReportingUnit,
  rememberHeard,
  reportMacKey,
  signingUnit,
} from './report-books.ts';
export { claimsJson } from './token-json.ts';
export { type UnitOnRecord, unitOnRecord } from './unit-on-record.ts';
