import type { Manifest } from '../suit/index.ts';
import type { AppraisalCode, ClaimName } from './appraisal-rows.ts';
import type { SuitReport } from './report.ts';

/** A unit on record. */
export interface KnownUnit {
  readonly className: string;
  readonly serial: string;
  /** SubjectPublicKeyInfo of its report key; undefined where it has none. */
  readonly reportKey: Uint8Array | undefined;
  /** `unitMacKey` of its class key; undefined where its class is asymmetric or the key is not at hand. */
  readonly macKey: Uint8Array | undefined;
  /** The newest report that was heard of it. */
  readonly lastHeard: LastHeard | undefined;
}

/** What is remembered of the newest genuine report of a unit. */
export interface LastHeard {
  readonly age: number;
  /** The highest sequence number that it reported as kept; undefined where it reported none. */
  readonly keptNumber: bigint | undefined;
}

/** A release on record. */
export interface KnownRelease {
  readonly className: string;
  readonly sequenceNumber: bigint;
  readonly version: string;
  /** Null where the manifest has none. */
  readonly referenceUri: string | null;
  /** SHA-256 of its images. */
  readonly imageDigests: readonly Uint8Array[];
}

/** What whoever appraises knows. */
export interface AppraisalBooks {
  unit(deviceId: Uint8Array): KnownUnit | undefined;
  release(manifestDigest: Uint8Array): KnownRelease | undefined;
  /** The manifest of a release, where its envelope is at hand: records are then looked up in it. */
  manifest?(manifestDigest: Uint8Array): Manifest | undefined;
  /** Decrypts what an authentic container carries; undefined where no key fits. Without it encrypted reports are not read. */
  decrypt?(
    payload: Uint8Array,
  ): { readonly plaintext: Uint8Array; readonly contentType: string | number | undefined } | undefined;
  /** The challenge that was sent, where one was. */
  readonly nonce?: Uint8Array | undefined;
}

/** One thing that was looked at. */
export interface AppraisedClaim {
  readonly claim: ClaimName;
  readonly result: 'holds' | 'fails' | 'not judged';
  /** What was found. */
  readonly detail: string;
  readonly source: string;
}

/** Whose report it is, as far as that is proved. */
export interface AppraisedSender {
  readonly className: string;
  readonly serial: string;
  /** Proved by a signature of the unit alone, or by a MAC that any holder of the class key can make. */
  readonly provedBy: 'unit key' | 'class key';
}

/** The outcome: whether a report is to be taken for what it says, and what it says. */
export interface Appraisal {
  readonly verdict: 'genuine' | 'refused';
  /** The first claim that fails. */
  readonly refusal: AppraisalCode | null;
  readonly claims: readonly AppraisedClaim[];
  /** Only of an authentic report. */
  readonly sender: AppraisedSender | undefined;
  readonly age: number | undefined;
  readonly report: SuitReport | undefined;
  readonly release: KnownRelease | undefined;
}
