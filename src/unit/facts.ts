import type { CommandPlace } from '../suit/index.ts';
import type { Certificate } from '../x509/index.ts';
import type { AnchorPurpose } from './record.ts';
import type { TrustPolicy } from './trust-policy.ts';

/** What installing would do. */
export type Effect = 'new install' | 'resume' | 'already there';

/** Who sealed it, by the certificate that came with the signature. */
export interface SignerFacts {
  readonly certificate: Certificate;
  /** Label of the root at which the path ends. */
  readonly anchor: string;
}

/** A seal that the unit goes by. */
export interface AuthenticationFacts {
  /** Index of its block in the envelope. */
  readonly block: number;
  readonly algorithm: string;
  readonly signer?: SignerFacts | undefined;
  readonly macKeyId?: string | undefined;
}

/** One image that the manifest names. Sizes in bytes; undefined where the manifest does not say. */
export interface ImageFacts {
  readonly digest: Uint8Array;
  readonly size: number | undefined;
  /** Which component it is for, where that is not the one that runs. */
  readonly component?: string | undefined;
}

/** A manifest that another one depends on. */
export interface DependencyFacts {
  readonly component: string;
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
  readonly version: string | undefined;
  readonly signer: SignerFacts | undefined;
}

/** A delta, and what it is applied to. Sizes in bytes; digests SHA-256, 32 bytes. */
export interface DeltaFacts {
  readonly digest: Uint8Array;
  readonly size: number;
  readonly window: number;
  readonly precursor: { readonly digest: Uint8Array; readonly size: number };
}

/**
 * What a decision learned on its way. A fact is set by the step that established it, so whatever stands here
 * was reached; only what follows an accepted seal is vouched for.
 */
export interface Facts {
  manifestDigest?: Uint8Array;
  algorithm?: string;
  signer?: SignerFacts;
  /** Id of the MAC key that verified, lower-case hexadecimal. */
  macKeyId?: string;
  /** Every seal that counts, each key once. */
  authentications?: readonly AuthenticationFacts[];
  sequenceNumber?: bigint;
  securityVersion?: number;
  /** Version as the manifest states it for people. */
  version?: string;
  images?: readonly ImageFacts[];
  /** The manifests that it depends on. */
  dependencies?: readonly DependencyFacts[];
  /** Name of the slot that it would go to. */
  slot?: string;
  effect?: Effect;
  /** Where the image is made by a delta. */
  delta?: DeltaFacts;
  /** What a trust update says, and the kind of root above its signer. */
  trust?: TrustPolicy & { readonly rank: AnchorPurpose };
  /** The command at which a sequence of the manifest ended before its end, where one did. */
  failedAt?: CommandPlace | undefined;
  readonly warnings: string[];
}
