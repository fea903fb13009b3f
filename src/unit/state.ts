import type { ByteSource } from '../bytes/index.ts';
import type { KeyUnwrapper } from '../cose/index.ts';
import type { UnitRecord } from './record.ts';
import type { TrustState } from './trust-policy.ts';

/** What the marks of a unit say about one slot. Sequence numbers are those of the manifests. */
export type SlotView =
  | { readonly state: 'empty' }
  | {
      readonly state: 'filling' | 'ready' | 'on trial' | 'kept';
      /** SHA-256 over the manifest's byte string with header, 32 bytes: the digest that was sealed. */
      readonly manifestDigest: Uint8Array;
      readonly sequenceNumber: bigint;
    };

/** Values below which a unit accepts nothing. They rise and never fall. */
export interface Floors {
  readonly sequenceNumber: bigint;
  readonly securityVersion: number;
  readonly signerGeneration: number;
}

/** A manifest that was on trial and fell back, and how often. */
export interface Fallen {
  readonly manifestDigest: Uint8Array;
  readonly tries: number;
}

/** What a unit remembers, read from its marks. */
export interface UnitState {
  /** Whether the unit's own marks could be read. Where not, the rest is what provisioning wrote down. */
  readonly marksRead: boolean;
  /** In the order of the slots of the memory map. */
  readonly slots: readonly SlotView[];
  /** Index of the slot whose image runs, or would run; it is never written. Undefined on an empty unit. */
  readonly running: number | undefined;
  readonly floors: Floors;
  /** SHA-256 of SubjectPublicKeyInfo, lower-case hexadecimal, of keys that no signer path may contain. */
  readonly deniedSigners: readonly string[];
  readonly fallen: readonly Fallen[];
  /** What trust updates said; undefined before the first. */
  readonly trust?: TrustState | undefined;
  /** The envelope that is kept with the image that runs. Absent where none does, or nothing is compared with it. */
  readonly kept?: (() => { readonly slot: number; readonly envelope: ByteSource } | undefined) | undefined;
}

/** A unit as a decision sees it. */
export interface UnitView {
  readonly record: UnitRecord;
  /** Secret MAC keys by key id in lower-case hexadecimal; empty for the asymmetric scheme. */
  readonly macKeys: ReadonlyMap<string, Uint8Array>;
  /** What opens the content keys of encrypted images; none where the unit holds no key for that. */
  readonly unwrappers?: readonly KeyUnwrapper[];
  readonly state: UnitState;
  /** The slot that `state.running` names, where it can be read: a delta is applied to what it holds. */
  readonly precursor?: ByteSource | undefined;
  /** Whether something on board starts now, and would under a floor of the security version. Undefined where no flash is at hand. */
  readonly startable?: (securityVersion: number) => { readonly before: boolean; readonly after: boolean };
}

/** The state of a unit that was provisioned and never got an image. */
export function emptyState(record: UnitRecord): UnitState {
  return {
    marksRead: true,
    slots: record.memory.slots.map(() => ({ state: 'empty' })),
    running: undefined,
    floors: {
      sequenceNumber: BigInt(record.floors.sequence_number),
      securityVersion: record.floors.security_version,
      signerGeneration: record.floors.signer_generation,
    },
    deniedSigners: record.denied_signers,
    fallen: [],
  };
}
