import type { ByteSource } from '../bytes/index.ts';
import type { JudgedDelta } from './check/delta.ts';
import type { Ciphertext } from './check/encryption.ts';
import type { Effect } from './facts.ts';
import type { AnchorPurpose } from './record.ts';
import type { Floors, UnitView } from './state.ts';
import type { Trace } from './trace.ts';
import type { TrustPolicy } from './trust-policy.ts';

/** What is offered to a unit. */
export interface InstallRequest {
  readonly envelope: ByteSource;
  /** The image of a detached envelope. */
  readonly image?: ByteSource | undefined;
  /** Detached images of further components, by their names. */
  readonly components?: ReadonlyMap<string, ByteSource> | undefined;
  /** Detached envelopes of dependencies, in any order: their digests say which is which. */
  readonly dependencies?: readonly ByteSource[] | undefined;
  /** What a clock that the unit trusts reads. */
  readonly now?: Date | undefined;
}

/** An image to be brought in. */
export interface PlannedImage {
  /** Undefined where the image was not there; the trace says so. */
  readonly source: ByteSource | undefined;
  /** Announced length in bytes. */
  readonly size: number;
  /** SHA-256, 32 bytes. */
  readonly digest: Uint8Array;
}

/** What an accepted envelope asks the unit to do. */
export interface InstallPlan {
  readonly effect: Effect;
  readonly sequenceNumber: bigint;
  /** SHA-256 over the manifest's byte string with header, 32 bytes. */
  readonly manifestDigest: Uint8Array;
  readonly image: PlannedImage;
  /** Images of further components, in the order of the memory map. Absent where there are none. */
  readonly further?: readonly PlannedImage[] | undefined;
  /** Where the source is encrypted. Its content key is overwritten once the plan is carried out or given up. */
  readonly ciphertext?: Ciphertext | undefined;
  /** Where the source is a delta. */
  readonly delta?: JudgedDelta | undefined;
  /** The envelope as it is kept for start-up: without integrated payloads. */
  storedEnvelope(): Uint8Array;
}

/** What an accepted trust update asks the unit to do. */
export interface TrustPlan {
  readonly effect: Effect;
  readonly trust: {
    /** What kind of root stands above its signer. */
    readonly rank: AnchorPurpose;
    readonly number: bigint;
    /** SHA-256 over the manifest's byte string with header, 32 bytes. */
    readonly manifestDigest: Uint8Array;
    readonly policy: TrustPolicy;
    /** The policy as it stands in the manifest. */
    readonly content: Uint8Array;
  };
}

/** What lies in a slot and wants to be started. */
export interface StoredImage {
  /** Index of the slot in the memory map. */
  readonly slot: number;
  readonly envelope: ByteSource;
  /** The whole slot; the image lies at its start. */
  readonly content: ByteSource;
  /** The areas of further components that belong to the slot, whole. Absent where there are none. */
  readonly further?: readonly ByteSource[] | undefined;
}

/** What a verified slot holds. */
export interface StoredFacts {
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
  readonly securityVersion: number;
  /** Version as the manifest states it for people. */
  readonly version: string | undefined;
  /** Image length in bytes. */
  readonly imageSize: number;
  /** SHA-256 of the image, 32 bytes. */
  readonly imageDigest: Uint8Array;
  /** Where the slot holds a ciphertext: how it is opened, for the copy that decrypts. */
  readonly ciphertext?: { readonly info: Uint8Array; readonly size: number } | undefined;
}

/** The judging half of a unit, as the half that writes flash calls it. Both may end in a refusal of the trace. */
export interface Decision {
  /**
   * Steps 1 to 7, and what step 8 can judge before anything is written; leaves step 8 open. Changes nothing.
   */
  judgeInstall(trace: Trace, request: InstallRequest, unit: UnitView): InstallPlan | TrustPlan;
  /**
   * What step 11 verifies again: authenticity, identity, version, image digest, security floor. Not dates,
   * revocation or the sequence floor. Step 11 is open before and after.
   */
  judgeStored(trace: Trace, stored: StoredImage, unit: UnitView, floors: Floors): StoredFacts;
}
