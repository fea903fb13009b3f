import type { ImageFormat } from '../image/index.ts';
import type { SecretSource } from '../keys/index.ts';
import type { Workspace } from '../workspace/index.ts';

/** One firmware file. */
export interface ImageInput {
  readonly path: string;
  /** Read it as this format; without it the content decides. */
  readonly format?: ImageFormat | undefined;
  /** Where units fetch it from, in a detached payload. Default: a name made of its digest (RFC 6920). */
  readonly uri?: string | undefined;
}

/** The image of a further component. */
export interface ComponentInput {
  /** Its name in the memory map. */
  readonly name: string;
  /** A raw file. */
  readonly path: string;
}

/** How far a long step is. */
export interface SealProgress {
  readonly doing: 'reading' | 'encrypting' | 'writing';
  readonly doneBytes: number;
  readonly totalBytes: number;
}

/** How keys are reached. */
export interface KeyRequest {
  readonly workspace: Workspace;
  readonly secrets: SecretSource;
  /** PKCS#11 module; default the variable FIELDSEAL_PKCS11_MODULE. */
  readonly module?: string | undefined;
  /** Told while a tree of an HSS/LMS key is made anew: leaves done, leaves in all. */
  growing?(done: number, total: number): void;
}

/** What is to be sealed, for whom, and where it goes. */
export interface SealRequest extends KeyRequest {
  readonly className: string;
  /** One image; for linked slots one per slot, in slot order. */
  readonly images: readonly ImageInput[];
  /** Images of further components that this release brings itself. */
  readonly components?: readonly ComponentInput[] | undefined;
  /** Envelopes of other authors that this release depends on. */
  readonly dependencies?: readonly string[] | undefined;
  /** Version of the firmware, for people and, where it can be represented, as set-version. */
  readonly version: string;
  /** The envelope to write. */
  readonly out: string;
  /** Replace an output that is there. An input is never replaced. */
  readonly force?: boolean | undefined;
  /** Leave the image beside the envelope. */
  readonly detached?: boolean | undefined;
  /**
   * What units run: the envelope of an earlier release, or its firmware files in slot order. Then the envelope holds a
   * delta from it, and the image lies beside the envelope for everyone else.
   */
  readonly deltaFrom?: readonly string[] | undefined;
  /** Signers to use; without any the ones that cover the class, where that leaves no choice. */
  readonly signers?: readonly string[] | undefined;
  /** Seal with fewer signatures than the class asks for; the others are added later. */
  readonly unfinished?: boolean | undefined;
  /** 0 to 2^32 - 1; default 0. */
  readonly securityVersion?: number | undefined;
  /** This sequence number instead of the next one. */
  readonly sequence?: bigint | undefined;
  readonly allowJump?: boolean | undefined;
  /** For one unit only: its device identifier, 16 bytes. */
  readonly deviceId?: Uint8Array | undefined;
  /** Description for people, in the text element. */
  readonly description?: string | undefined;
  readonly withoutText?: boolean | undefined;
  /** The URI by which reports name the manifest. Default: a name made of class and sequence number. */
  readonly referenceUri?: string | undefined;
  progress?(step: SealProgress): void;
}
