/**
 * Provisioning: what goes into units before they leave the factory. A job for a batch of serial numbers goes out to a
 * station; its result comes back and is judged; only then do units count as provisioned. The station here is a virtual
 * one that speaks the same JSON.
 */
export { type AnchorStore, observeOverwrite, virtualAnchorStore } from './anchor-store.ts';
export { type Books, balance } from './books.ts';
export { classRecord, type UnitOfClass } from './class-record.ts';
export { ProvisionError } from './error.ts';
export { cHeader, type HeaderFacts } from './header.ts';
export {
  type AcceptedResult,
  acceptResult,
  anchorsOf,
  batchBooks,
  issueBatch,
  listBatches,
  macKeyOf,
  type NewBatch,
  readIssuedJob,
} from './issue.ts';
export {
  JOB_FORMAT,
  LARGEST_BATCH_FILE,
  type ProvisionJob,
  readJob,
  readSerial,
  readSerials,
  UNIT_KEY_PURPOSES,
} from './job.ts';
export { judgeResult, type ProvisionResult, readResult, type UnitJudgement } from './result.ts';
export { deviceId, runJob, type StationPorts, type UnitSecrets, type WrappedMacKey } from './station.ts';
