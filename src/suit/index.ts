/**
 * SUIT: envelopes and manifests of draft-ietf-suit-manifest-37. What an envelope holds (`openEnvelope`), what a
 * manifest says (`readManifest`, everything in it known before anything runs), how one is written
 * (`describeRelease`, `writeManifest`, `writeEnvelopeHead`), what its commands do (`runSequences`, an abstract
 * machine whose effects come in through a port), what it could do to which component (`accessOf`), and what each byte
 * of a file is (`mapBytes`). Extensions such as dependencies are refused by name unless the caller supports them. Pure:
 * no I/O, no keys, no clock. The tables list every item the drafts define and where it runs.
 */

export { accessOf, type ComponentAccess, type ManifestAccess } from './access.ts';
export { mapBytes } from './anatomy/map.ts';
export { diagnosticOfEnvelope } from './anatomy/notation.ts';
export type { Region } from './anatomy/region.ts';
export type { ActorId, ActorPermissions, ComponentMetadata, FileType } from './component-metadata.ts';
export {
  DOWNLOAD_COMPONENT,
  MAIN_COMPONENT,
  PRECURSOR_COMPONENT,
  STAGING_COMPONENT,
} from './component-names.ts';
export { type ComponentFacts, withComponents } from './component-template.ts';
export type { ComponentIdentifier, Dependency, Target } from './components.ts';
export type { DeltaInfo } from './delta-info.ts';
export { dependencyMatches, openDependency } from './dependency.ts';
export { type DependencyFacts, withDependencies } from './dependency-template.ts';
export type { CommandDescription, ManifestDescription, SequenceDescription } from './description.ts';
export {
  digestMatches,
  digestOf,
  encodeDigest,
  readDigest,
  SHA_256,
  type SuitDigest,
} from './digest.ts';
export {
  type Envelope,
  type EnvelopePart,
  type IntegratedPayload,
  manifestDigestMatches,
  openEnvelope,
} from './envelope.ts';
export { SuitError, type SuitErrorCode } from './errors.ts';
export { SUIT_LIMIT_TABLE, SUIT_LIMITS, type SuitLimits } from './limits.ts';
export type { DependencyOutcome, Issuer, ProcessorHost, TargetComponent } from './machine/host.ts';
export type { CommandPlace, MachineReason, Outcome } from './machine/outcome.ts';
export {
  DEPENDENT_UPDATE_PROCEDURE,
  INSTALLATION_PROCEDURE,
  INVOCATION_PROCEDURE,
  runSequences,
  STAGING_PROCEDURE,
  UPDATE_PROCEDURE,
} from './machine/run.ts';
export {
  type Manifest,
  type ManifestOptions,
  type Opaque,
  readManifest,
  type SectionName,
  type Severable,
} from './manifest.ts';
export {
  type EnterpriseNumber,
  type ParameterCode,
  type Parameters,
  type ParameterTypes,
  type ParameterValue,
  readParameters,
} from './parameters.ts';
export { describePolicyUpdate, POLICY_COMPONENT, type PolicyUpdateFacts } from './policy-template.ts';
export type {
  ImageDelta,
  ImageEncryption,
  ReleaseFacts,
  ReleaseImage,
  ReleaseShape,
  ReleaseText,
} from './release-facts.ts';
export type { Command, CommandArgument, IndexSelection, Sequence } from './sequence.ts';
export type { Span } from './shell.ts';
export {
  ALL_EXTENSIONS,
  type ArgumentType,
  COMMANDS,
  COMMON_KEYS,
  COMPONENT_TEXT_KEYS,
  type CommandRow,
  DIGEST_ALGORITHMS,
  type DigestRow,
  type ElementRow,
  type ElementType,
  ENVELOPE_KEYS,
  EXTENSIONS,
  type Extension,
  type Extensions,
  MANIFEST_KEYS,
  PARAMETERS,
  type ParameterRow,
  type ParameterType,
  type Row,
  runsWith,
  TEXT_KEYS,
  WAIT_EVENTS,
  type WaitEventRow,
} from './tables/index.ts';
export { deltaUris, describeRelease, integratedUris } from './templates.ts';
export { readText, type TextInLanguage } from './text.ts';
export { classId, formatUuid, NAMESPACE_DNS, NAMESPACE_OID, parseUuid, uuidV5, vendorId } from './uuid.ts';
export {
  type Comparison,
  formatVersion,
  parseVersion,
  type Version,
  type VersionMatch,
  versionMatches,
} from './version.ts';
export type { OtherDevice, WaitEvents, WaitInfo } from './wait.ts';
export { type EnvelopeDescription, writeEnvelopeHead } from './write-envelope.ts';
export { parametersValue, type WrittenManifest, writeManifest } from './write-manifest.ts';
