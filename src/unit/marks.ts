import { UNIT_LIMITS } from './limits.ts';
import type { AnchorPurpose } from './record.ts';

/** What a unit writes down about itself: the state of each slot, its floors, what fell back. */

/** `empty`: nothing there, or nothing that counts. `filling`: an install is under way, or was interrupted. */
export type SlotCondition = 'empty' | 'filling' | 'ready' | 'on trial' | 'kept';

/** The mark of one slot. For an empty slot number, digest and length are zero. */
export interface SlotMark {
  readonly state: SlotCondition;
  readonly sequenceNumber: bigint;
  /** SHA-256 over the manifest's byte string with header, 32 bytes (draft-ietf-suit-manifest section 8.3). */
  readonly manifestDigest: Uint8Array;
  /** Length in bytes of the envelope that is kept with the image; 0 while filling. */
  readonly envelopeLength: number;
}

/** What the unit took from trust updates: which half of the policy area counts, and how far the two counts have come. */
export interface TrustMark {
  readonly half: 0 | 1;
  /** Length in bytes and SHA-256 of the policy. */
  readonly length: number;
  readonly digest: Uint8Array;
  /** SHA-256 over the manifest that brought it, 32 bytes. */
  readonly manifestDigest: Uint8Array;
  /** What kind of root stood above its signer. */
  readonly rank: AnchorPurpose;
  /** Number of the last update taken, for each kind of root. */
  readonly numbers: Readonly<Record<AnchorPurpose, bigint>>;
}

/** All marks of a unit: one value, written as a whole. */
export interface Marks {
  /** In the order of the slots of the memory map. */
  readonly slots: readonly [SlotMark, SlotMark];
  /** Erase pages of the slot being filled that are complete. */
  readonly progress: number;
  readonly floors: {
    readonly sequenceNumber: bigint;
    readonly securityVersion: number;
    readonly signerGeneration: number;
  };
  /** Absent until the first trust update. */
  readonly trust?: TrustMark | undefined;
  /** What fell back, latest first, at most `FALLEN_LIMIT`. */
  readonly fallen: readonly { readonly manifestDigest: Uint8Array; readonly tries: number }[];
}

/** How many manifests that fell back a unit remembers. */
export const FALLEN_LIMIT = UNIT_LIMITS.fallen.value;
/** Tries are counted up to here. */
export const TRIES_LIMIT = UNIT_LIMITS.tries.value;

export const EMPTY_SLOT: SlotMark = {
  state: 'empty',
  sequenceNumber: 0n,
  manifestDigest: new Uint8Array(32),
  envelopeLength: 0,
};

/** Marks with another mark for one slot. */
export function withSlot(marks: Marks, index: number, mark: SlotMark): Marks {
  const slots = index === 0 ? ([mark, marks.slots[1]] as const) : ([marks.slots[0], mark] as const);
  return { ...marks, slots };
}
