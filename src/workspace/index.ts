/**
 * Workspace: the folder, fit for git, that holds one vendor's classes, public keys, certificates, records and
 * ledger. Files are whole or absent; a sequence number is durable before it is used and never given twice; what
 * was done stands in a hash chain. Nothing here knows what a payload is, or asks for a secret.
 */

export { AUTHOR_ADDED, readAuthor } from './authors.ts';
export { canonicalJson, type Json, type JsonObject, jsonDigest, readableJson } from './canonical.ts';
export { type ChallengeRecord, challengeId, findChallenge, keepChallenge } from './challenges.ts';
export { addClass, type ClassOptions } from './class-add.ts';
export {
  announcementCounter,
  type CounterState,
  claimCounter,
  foreseeNumber,
  HIGHEST_NUMBER,
  highestTaken,
  isSpent,
  readCounter,
  requireHeld,
  spendNumber,
  type TakenNumber,
  type TakeOptions,
  takeNumber,
  trustCounter,
} from './counter.ts';
export {
  type ClassAuthor,
  type Confidentiality,
  classJson,
  type DeviceClass,
  listClasses,
  type PlanIntent,
  type Recipients,
  readClass,
  sharesContentKeys,
} from './device-class.ts';
export type { Unplaced } from './document.ts';
export { fromSystem, WorkspaceError } from './errors.ts';
export type { FileStore } from './file-store.ts';
export { type Disk, type Files, filesOn, type Output } from './files.ts';
export { holdAlone } from './hold.ts';
export { initWorkspace } from './init.ts';
export { requireNoRecord } from './kept.ts';
export { type LeafUse, leafUsesOf, leavesJson } from './leaf-witness.ts';
export {
  type LeafState,
  leavesCaution,
  leavesFor,
  leavesRefusal,
  openLeaves,
  readLeaves,
  shapeOf,
  startLeaves,
} from './leaves.ts';
export { appendEntry, type LedgerEntry, readLedger, referenceTo } from './ledger.ts';
export { PROFILES, type Profile, wrapOf } from './profiles.ts';
export { readWritten } from './read-written.ts';
export { keyFaults } from './recorded-keys.ts';
export { finishRecords, listRecords, readRecord, type WrittenRecord, writeRecord } from './records.ts';
export {
  addCertificates,
  addKey,
  type ClassKey,
  classKeyName,
  classKeys,
  cohortKeyName,
  contentKeyName,
  contentKeys,
  keyPaths,
  listKeys,
  readCertificates,
  readKey,
  requireFreeKeyName,
} from './registry.ts';
export { addedSignatures, listReleases } from './releases.ts';
export { type FileSource, fileSource, readSmall } from './source.ts';
export {
  RETIREMENT_REASONS,
  type Retirement,
  type RetirementReason,
  type RootStanding,
  retireKey,
  retirements,
  rootStandings,
} from './standing.ts';
export { createUnitStore, openUnitStore, type PlacedArea, placeAreas } from './unit-areas.ts';
export { ledgerVerdictJson, verifyLedger } from './verify.ts';
export { openWorkspace, type Workspace, type WorkspacePorts } from './workspace.ts';
