import type { ByteSource } from '../bytes/index.ts';
import type { MemoryMap } from '../image/index.ts';
import type { AttestationCode, ClaimName } from './appraisal-rows.ts';
import type { EatClaims } from './claims.ts';
import type { UnitNames } from './identity.ts';
import type { RegionMeasurement } from './measurement.ts';
import type { RegionRequest } from './regions.ts';

/** A unit on record. */
export interface AttestedUnit extends UnitNames {
  readonly className: string;
  readonly serial: string;
  /** The map that it was provisioned with. */
  readonly memory: MemoryMap;
  /** SubjectPublicKeyInfo of its attestation key; undefined where it has none. */
  readonly attestationKey: Uint8Array | undefined;
  /** `unitMacKey` of its class key; undefined where its class is asymmetric or the key is not at hand. */
  readonly macKey: Uint8Array | undefined;
  /** How often it had been started when it was last heard. */
  readonly lastBootCount: number | undefined;
}

/** A challenge that was made here, found by its nonce. */
export interface MadeChallenge {
  readonly deviceId: Uint8Array;
  readonly region: RegionRequest;
  readonly used: boolean;
  /** After this time an answer is too late. */
  readonly expires: Date;
}

/** A release on record, and its images by the slot that they are for. */
export interface AttestedRelease {
  readonly className: string;
  readonly sequenceNumber: bigint;
  readonly version: string;
  /** SHA-256 of the image that lies in that slot; undefined where the release has none for it. */
  imageDigest(slot: string): Uint8Array | undefined;
}

/** What whoever appraises knows. */
export interface AttestationBooks {
  unit(deviceId: Uint8Array): AttestedUnit | undefined;
  challenge(nonce: Uint8Array): MadeChallenge | undefined;
  release(manifestDigest: Uint8Array): AttestedRelease | undefined;
  /** The image with that SHA-256 in clear, where it is at hand. What it gives is hashed before it is used. */
  image(digest: Uint8Array): ByteSource | undefined;
  /** The recovery image, where it was given. */
  recovery?: ByteSource | undefined;
  /** The lowest sequence number of a class that is good enough; undefined where none is asked for. */
  leastNumber(className: string): bigint | undefined;
  readonly now: Date;
}

/** One thing that was looked at. */
export interface AppraisedClaim {
  readonly claim: ClaimName;
  readonly result: 'holds' | 'fails' | 'not judged';
  /** What was found. */
  readonly detail: string;
  readonly source: string;
}

/** Whose answer it is, as far as that is proved. */
export interface AttestedSender {
  readonly className: string;
  readonly serial: string;
  /** Proved by a signature of the unit alone, or by a MAC that any holder of the class key can make. */
  readonly provedBy: 'unit key' | 'class key';
}

/**
 * The outcome. `incomplete`: nothing was refuted, but the image to compare with was not at hand. The challenge counts as
 * answered once an authentic answer to it was judged to the end.
 */
export interface AttestationAppraisal {
  readonly verdict: 'genuine' | 'refused' | 'incomplete';
  /** The first claim that fails. */
  readonly refusal: AttestationCode | null;
  readonly claims: readonly AppraisedClaim[];
  /** Only of an authentic token. */
  readonly sender: AttestedSender | undefined;
  readonly told: EatClaims | undefined;
  readonly measured: RegionMeasurement | undefined;
  readonly release: AttestedRelease | undefined;
  /** The nonce of the challenge that this answers, where the answer is authentic and in time. */
  readonly answers: Uint8Array | undefined;
}
