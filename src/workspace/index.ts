/**
 * Workspace: the folder, fit for git, that holds one vendor's classes, public keys, certificates, records and
 * ledger. Files are whole or absent; a sequence number is durable before it is used and never given twice; what
 * was done stands in a hash chain. Nothing here knows what a payload is, or asks for a secret.
 */
export { canonicalJson, type Json, type JsonObject, jsonDigest, readableJson } from './canonical.ts';
export { addClass, type ClassOptions } from './class-add.ts';
export {
  type ClaimOptions,
  type CounterState,
  claimCounter,
  HIGHEST_NUMBER,
  readCounter,
  startCounter,
  type TakenNumber,
  type TakeOptions,
  takeNumber,
} from './counter.ts';
export { classJson, classPath, type DeviceClass, listClasses, readClass } from './device-class.ts';
export { type Mistake, WORKSPACE_CODES, type WorkspaceCode, WorkspaceError } from './errors.ts';
export { type Disk, type FileOptions, type Files, filesOn, type Output } from './files.ts';
export { type InitOptions, initWorkspace } from './init.ts';
export { appendEntry, type LedgerEntry, type LedgerReference, readHead, readLedger } from './ledger.ts';
export { requireClassName, requireName } from './names.ts';
export { defaultProfile, findProfile, PROFILES, type Profile } from './profiles.ts';
export {
  listRecords,
  type NewRecord,
  RECORD_FOLDERS,
  type RecordFolder,
  readRecord,
  type WrittenRecord,
  writeRecord,
} from './records.ts';
export {
  addCertificates,
  addKey,
  type ClassKey,
  classKeyName,
  classKeys,
  cohortKeyName,
  keyPaths,
  listKeys,
  readCertificates,
  readKey,
  requireFreeKeyName,
} from './registry.ts';
export { type FileSource, fileSource } from './source.ts';
export {
  type FindingKind,
  type LedgerFinding,
  type LedgerVerdict,
  ledgerVerdictJson,
  verifyLedger,
} from './verify.ts';
export {
  openWorkspace,
  WORKSPACE_FILE,
  type Workspace,
  type WorkspaceKind,
  type WorkspacePorts,
} from './workspace.ts';
