import type { ComponentIdentifier } from './components.ts';

/** How a class places images: one image for either slot, one image per slot, or a staging area. */
export type ReleaseShape = 'remapped' | 'position-independent' | 'linked' | 'staged';

/** One image of a release. */
export interface ReleaseImage {
  /** SHA-256 over the image, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
  /** Where it is fetched from; without it the manifest only checks and starts what is already there. */
  readonly uri?: string | undefined;
  /** Where it travels encrypted; then it has a URI. */
  readonly encryption?: ImageEncryption | undefined;
  /** What makes it out of an image that units run; its URI then is where the others find it whole. */
  readonly delta?: ImageDelta | undefined;
}

/** The ciphertext of an image ([FE] sections 4 and 5). */
export interface ImageEncryption {
  /** SUIT_Encryption_Info: COSE_Encrypt with tag 96 and nil ciphertext. */
  readonly info: Uint8Array;
  /** SHA-256 over the ciphertext, tag included, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
}

/** A delta (RFC 3284) from an image that units run. */
export interface ImageDelta {
  /** Where it is fetched from. */
  readonly uri: string;
  /** SHA-256 over the delta, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
  /** Bytes that its largest target window makes. */
  readonly windowBytes: number;
  /** What it was made against. SHA-256, 32 bytes. */
  readonly precursor: { readonly digest: Uint8Array; readonly sizeBytes: number };
}

/** What people read about a release ([M] section 8.4.4). */
export interface ReleaseText {
  /** Language tag such as `en`. */
  readonly language: string;
  readonly manifestDescription?: string | undefined;
  readonly updateDescription?: string | undefined;
  readonly vendorName?: string | undefined;
  readonly modelName?: string | undefined;
  readonly vendorDomain?: string | undefined;
  readonly modelInfo?: string | undefined;
  readonly componentDescription?: string | undefined;
  readonly componentVersion?: string | undefined;
}

/** The facts of a release from which its manifest follows. */
export interface ReleaseFacts {
  readonly shape: ReleaseShape;
  readonly sequenceNumber: bigint | number;
  readonly vendorId: Uint8Array;
  readonly classId: Uint8Array;
  /** Only for a release meant for one unit ([M] section 8.4.9.1). */
  readonly deviceId?: Uint8Array | undefined;
  /** One image; two in slot order where images are linked. */
  readonly images: readonly ReleaseImage[];
  /** Whether the manifest also starts the image ([M] section 7.2). */
  readonly start: boolean;
  /** Version text; written as set-version where it can be represented ([UM] section 3.1). */
  readonly version?: string | undefined;
  readonly text?: ReleaseText | undefined;
  readonly referenceUri?: string | undefined;
  /** Identifier of the component that runs. Default `MAIN_COMPONENT`. */
  readonly component?: ComponentIdentifier | undefined;
}
