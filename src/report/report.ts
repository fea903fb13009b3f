import type { ComponentIdentifier, Parameters, SuitDigest } from '../suit/index.ts';

/** Where in a manifest something happened, and what was measured there ([RPT] section 3). */
export interface SuitRecord {
  readonly kind: 'record';
  /** Walk down the tree of manifests; empty for the root manifest. */
  readonly manifestId: readonly number[];
  /** Key of the command sequence in the manifest, a row of `SECTIONS`. */
  readonly section: number;
  /** Bytes from the start of the sequence to the command. */
  readonly offset: number;
  readonly component: number;
  /** Actual values, as SUIT parameters. */
  readonly properties: Parameters;
}

/** What was measured of one component ([RPT] section 4.1). */
export interface PropertyClaim {
  readonly kind: 'claim';
  readonly component: ComponentIdentifier;
  readonly properties: Parameters;
}

/** Which manifest a report is about ([RPT] section 4). */
export interface SuitReference {
  /** The manifest's reference URI; empty where the reporter did not read the manifest, or it has none. */
  readonly uri: string;
  /** Element 0 of the authentication wrapper; no bytes where there was no manifest to name. */
  readonly digest: SuitDigest;
}

/** Why a procedure did not end well ([RPT] section 4.2). */
export interface ReportedFailure {
  /** The reporter's own number, for debugging. */
  readonly code: number;
  readonly record: SuitRecord;
  /** A row of `REASONS`. */
  readonly reason: number;
}

/** What a manifest processor can do ([RPT] section 6). */
export interface Capabilities {
  /** Component identifiers; `prefix` where anything below them goes too. */
  readonly components: readonly { readonly identifier: ComponentIdentifier; readonly prefix: boolean }[];
  /** Lists of numbers under the other keys of `CAPABILITY_ELEMENTS`, or under a path of keys. */
  readonly lists: readonly { readonly key: number | readonly number[]; readonly codes: readonly number[] }[];
}

/** A SUIT_Report ([RPT] section 4). */
export interface SuitReport {
  readonly reference: SuitReference;
  readonly nonce?: Uint8Array | undefined;
  readonly records: readonly (SuitRecord | PropertyClaim)[];
  /** True: the procedure completed. */
  readonly result: true | ReportedFailure;
  readonly capabilities?: Capabilities | undefined;
}

/** No values were measured. */
export const NOTHING_MEASURED = new Map() as Parameters;
