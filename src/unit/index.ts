/**
 * The field side: what a unit does with an envelope. It checks it step by step and says why not, installs it into
 * the free slot over a `Flash` port, starts only what verifies again from the memory that will run, and keeps it
 * once it has proved itself. Pure: time, randomness, flash and keys come in from outside. The closed table of
 * refusals lives here and is the only one.
 */
export {
  type AttestationRules,
  attestationProblems,
  REACTIONS,
  type Reaction,
  SELF_CHECK_LIMITS,
  SELF_CHECK_METHODS,
  type SelfCheckRules,
} from './attestation-rules.ts';
export type { BootResult } from './boot.ts';
export type { BootEntry } from './boot-record.ts';
export { judgeAnnouncer } from './check/announcer.ts';
export { type AuthenticityRequest, checkAuthenticity } from './check/authenticity.ts';
export { imagesBySlot, type WantedImage } from './check/follow.ts';
export { type CheckRequest, checkForUnit, judgeInstall } from './check/for-unit.ts';
export { isMessage } from './check/message.ts';
export { judgeStored } from './check/stored.ts';
export { extensionsOf, UNIT_EXTENSIONS } from './extensions.ts';
export type { Effect, Facts, ImageFacts, SignerFacts } from './facts.ts';
export { type Flash, FlashError, PowerCut } from './flash.ts';
export { type Cut, type CutKind, EmulatedFlash, type FlashPlace } from './flash-emulated.ts';
export {
  type FlashLayout,
  FlashLayoutError,
  type FlashRegion,
  type FlashSpan,
  flashLayout,
} from './flash-layout.ts';
export { memoryStore, type Store } from './flash-pages.ts';
export type { Noise } from './flash-unstable.ts';
export type { InstallResult } from './install.ts';
export { type JsonPath, UnitRecordError } from './json-read.ts';
export type { KeepResult } from './keep.ts';
export { beginLife, openUnit, type Unit, type UnitParts } from './life.ts';
export type { BootSession, RecoveryImage, RunningImage, VolatileMemory } from './life-board.ts';
export { UNIT_LIMITS } from './limits.ts';
export type { Marks, SlotCondition, SlotMark } from './marks.ts';
export { messageAlgorithm } from './message-algorithm.ts';
export {
  type AuthenticationPolicy,
  POLICY_ALGORITHMS,
  type PolicyAlgorithm,
  type PolicySigner,
  type ResolvedDemand,
  type ResolvedPolicy,
  resolvePolicy,
  type SignerDemand,
  type Standing,
  standingOf,
} from './policy.ts';
export type { Decision, InstallPlan, InstallRequest, StoredFacts, StoredImage, TrustPlan } from './ports.ts';
export { componentIdentifier, prepareRecord } from './prepared.ts';
export { type Scheme, UNIT_PROFILES, type UnitProfile } from './profiles.ts';
export {
  type AnchorPurpose,
  UNIT_FORMAT,
  type UnitAnchor,
  type UnitAuthor,
  type UnitContentKey,
  type UnitKey,
  type UnitMacKey,
  type UnitRecord,
  type UnitSecret,
} from './record.ts';
export { readUnitRecord } from './record-read.ts';
export { REFUSALS, type Refusal, type RefusalCode } from './refusals.ts';
export {
  GUARDED_COMMANDS,
  type GuardedCommand,
  oversteppingOf,
  type Realm,
  type SignerRight,
} from './rights.ts';
export { MAXIMUM_SECURITY_VERSION, readSecurityVersion, SECURITY_VERSION_LABEL } from './security-version.ts';
export type { SelfCheckFinding, SelfCheckResult } from './self-check.ts';
export { type SelfCheckMemory, selfCheckMemorySize } from './self-check-memory.ts';
export type { StartResult } from './start.ts';
export type { PassedOver, Started } from './start-run.ts';
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
  shownText,
  Trace,
} from './trace.ts';
export { encodeTrustPolicy, readTrustPolicy, type TrustPolicy, type TrustState } from './trust-policy.ts';
export { createUnitFile, openUnitFile, programRecovery, type UnitFile } from './unit-file.ts';
export { type UnitFileContent, UnitFileError, type UnitFileErrorCode } from './unit-file-header.ts';
export { HEADER_SIZE, type UnitFileLayout, unitFileLayout } from './unit-file-layout.ts';
export {
  type ContentSecrets,
  DECRYPTION_KEY_ID_LENGTH,
  decryptionKeyId,
  unwrappersOf,
  usesOwnKey,
} from './unwrappers.ts';
export { type Answer, decide, type Scope, toJson, type Verdict } from './verdict.ts';
