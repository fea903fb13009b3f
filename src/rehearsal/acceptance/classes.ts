import type { Scheme, UnitRecord } from '../../unit/index.ts';

/** What is on record of a release that units may run. */
export interface KnownRelease {
  readonly version: string;
  readonly sequenceNumber: bigint;
  readonly securityVersion: number;
  /** Lower-case hexadecimal. */
  readonly manifestDigest: string;
}

/** What must be known of a class so that its units can be judged. */
export interface ClassOfUnits {
  readonly name: string;
  readonly scheme: Scheme;
  readonly slotNames: readonly string[];
  /** The cohorts that have a key of their own; undefined where units hold no key by cohort. */
  readonly cohorts: readonly string[] | undefined;
  /** Class identifiers of units of a hardware revision, as texts: the model's, then that of the revision. */
  identifiersOf(hardwareRevision: string): readonly string[];
  /**
   * The record of a unit as production would leave it today, for its cohort; the same object for the same cohort. Throws
   * an error whose message says why units of the class cannot be judged.
   */
  recordOf(cohort: string | undefined): UnitRecord;
  /** Identifier of a unit, as text, as production makes it. */
  deviceIdOf(serial: string, hardwareRevision: string | undefined): string;
  /** Key id of the decryption key that is on record for a unit; undefined where none is. */
  decryptionKeyIdOf(serial: string): string | undefined;
  /** Roots of the workspace by label, with the fingerprints of their keys. */
  readonly roots: ReadonlyMap<string, string>;
  /** The release of a number, or of a version (the latest of them); undefined where none is on record. */
  releaseOf(
    told: { readonly sequenceNumber: string } | { readonly version: string },
  ): KnownRelease | undefined;
}

/** All classes by name. */
export type Classes = ReadonlyMap<string, ClassOfUnits>;
