/**
 * Authority: who may seal. Makes roots, signers and secret keys in a workspace, each with its ceremony record, and keeps
 * the folder of a root on a machine without network. Sealing never comes here, and so never opens a root.
 */

export { createApprover, type NewApprover, retireApprover } from './approver.ts';
export { addAuthor } from './author.ts';
export type { Attendance } from './ceremony.ts';
export { type HssChoice, hssCautions, USUAL_HSS } from './hss-signer.ts';
export {
  certifyRequest,
  createAuthority,
  type NewAuthority,
  type OfflineAuthority,
  openAuthority,
  readSignerRequest,
} from './offline.ts';
export {
  LIST_DAYS,
  type MadeList,
  madeLists,
  nextListNumber,
  revokeOffline,
  writeRevocationList,
} from './revocation-list.ts';
export { adoptRoot, createRoot, type MadeRoot, type NewRoot } from './root.ts';
export { signerScope } from './scope.ts';
export {
  createClassKey,
  createCohortKey,
  createContentKeyFor,
  createStationKey,
  type MadeSecretKey,
  type PlaceFor,
} from './secret-keys.ts';
export {
  acceptSigner,
  createSigner,
  type MadeSigner,
  type NewSigner,
  type RootAccess,
  SIGNER_DAYS,
} from './signer.ts';
