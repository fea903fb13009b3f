/**
 * What a fleet store keeps and answers. Times are `Date`, to the millisecond. Class and device identifiers are 32 lower-case
 * hexadecimal digits, digests 64. Sequence numbers are `bigint`.
 */

/** Where a unit stands: with the broadcast that it is in, or, in none, with what it said last. */
export const UNIT_STATES = [
  /** In no broadcast, and never heard. */
  'unheard',
  /** In a wave that is not open yet. */
  'waiting',
  /** In a wave that is open, and nothing is known yet of how it ended. */
  'reached',
  'on-trial',
  /** It runs and proved itself; one that ran the release before it was offered counts as kept. */
  'kept',
  'refused',
  /** It ran and did not prove itself. */
  'fell-back',
] as const;
export type UnitState = (typeof UNIT_STATES)[number];

/** A refusal by its code and the step that it belongs to, as in the closed list of refusals. */
export interface UnitRefusal {
  readonly step: string;
  readonly code: string;
}

/** Names a unit. */
export interface UnitName {
  readonly classId: string;
  readonly device: string;
}

/** What an inventory tells of a unit. */
export interface UnitRow extends UnitName {
  readonly serial?: string | undefined;
  /** A site, cohort or batch. */
  readonly group?: string | undefined;
  readonly hardware?: string | undefined;
  /** What it runs as far as the inventory knows. What the unit itself said is never replaced by it. */
  readonly version?: string | undefined;
  readonly sequence?: bigint | undefined;
  readonly digest?: string | undefined;
  readonly tags?: Readonly<Record<string, string>> | undefined;
}

/** A unit as the store knows it. */
export interface FleetUnit extends UnitRow {
  readonly state: UnitState;
  readonly refusal?: UnitRefusal | undefined;
  /** When its newest report was taken in. */
  readonly lastHeard?: Date | undefined;
  readonly wave?: { readonly broadcast: number; readonly number: number } | undefined;
  readonly attestation?: { readonly verdict: string; readonly at: Date } | undefined;
}

/** A genuine report of a unit, judged before it comes here. */
export interface UnitReport extends UnitName {
  /** SHA-256 of the signed report: a report counts once. */
  readonly id: string;
  /** When it was taken in. */
  readonly at: Date;
  /** The age of the unit's marks that the report states: the order of a unit's reports. Undefined where it states none. */
  readonly age?: number | undefined;
  /** The manifest that it is about, and what is on record of it. */
  readonly manifestDigest?: string | undefined;
  readonly sequence?: bigint | undefined;
  readonly version?: string | undefined;
  readonly outcome: ReportOutcome;
  readonly refusal?: UnitRefusal | undefined;
  /** The report as it was signed. */
  readonly raw: Uint8Array;
}

/** What a report says happened: the results of `outcomeTold`. */
export type ReportOutcome = 'success' | 'pending' | 'unfinished' | 'failed';

/** `new`: taken; `known`: it was taken before and changes nothing; `stranger`: no such unit is in the store. */
export type Taken = 'new' | 'known' | 'stranger';

/** The appraised answer of a unit to a challenge. */
export interface UnitAttestation extends UnitName {
  /** SHA-256 of the answer. */
  readonly id: string;
  readonly at: Date;
  readonly verdict: string;
  readonly refusal?: string | undefined;
}

/** Something in the history of a unit, newest first. */
export type HistoryEntry =
  | ({ readonly kind: 'report' } & Omit<UnitReport, keyof UnitName>)
  | ({ readonly kind: 'attestation' } & Omit<UnitAttestation, keyof UnitName>)
  | ({ readonly kind: 'event' } & Pick<FleetEvent, 'seq' | 'at' | 'who' | 'text'>);

/** Which units are looked for; what is left out limits nothing. */
export interface UnitQuery {
  readonly classId?: string | undefined;
  readonly state?: UnitState | undefined;
  /** Units of a broadcast, or of one wave of it. */
  readonly wave?: { readonly broadcast: number; readonly number?: number | undefined } | undefined;
  /** How the serial number, the device identifier or the group begins. */
  readonly text?: string | undefined;
  readonly version?: string | undefined;
  /** A refusal's code. */
  readonly refusal?: string | undefined;
  /** Units that were not heard since then. */
  readonly silentSince?: Date | undefined;
  /** Where the page before ended. */
  readonly after?: string | undefined;
  /** 1 to 1000; 100 where left out. */
  readonly limit?: number | undefined;
}

/** A page of something, and where the next begins; undefined after the last. */
export interface Page<T> {
  readonly items: readonly T[];
  readonly next: string | undefined;
}

/** How many units stand where. Kept up with each change, never counted anew. */
export interface FleetCounts {
  readonly units: number;
  readonly byClass: readonly { readonly classId: string; readonly units: number }[];
  readonly byState: Readonly<Record<UnitState, number>>;
  readonly byVersion: readonly { readonly version: string | undefined; readonly units: number }[];
  readonly byRefusal: readonly (UnitRefusal & { readonly units: number })[];
}

/** What a broadcast offers. */
export interface OfferedRelease {
  readonly manifestDigest: string;
  readonly sequence: bigint;
  readonly version: string;
}

export const BROADCAST_STATES = ['planned', 'running', 'paused', 'halted', 'done'] as const;
export type BroadcastState = (typeof BROADCAST_STATES)[number];

/** A release on its way to a class, wave by wave. */
export interface Broadcast {
  /** Counted from 1, never given twice. */
  readonly id: number;
  readonly classId: string;
  readonly release: OfferedRelease;
  /** The plan as its own schema has it. */
  readonly plan: unknown;
  readonly state: BroadcastState;
  readonly why?: string | undefined;
  /** Rises with each change, and never falls. */
  readonly revision: number;
  readonly created: Date;
}

export const WAVE_STATES = ['planned', 'open', 'soaking', 'passed', 'stopped'] as const;
export type WaveState = (typeof WAVE_STATES)[number];

/** A part of the class that a broadcast reaches together. */
export interface Wave {
  readonly broadcast: number;
  /** Counted from 1. */
  readonly number: number;
  readonly name: string;
  /** Of a thousand, drawn by lot, all earlier waves within; or units by name. */
  readonly reach: WaveReach;
  readonly state: WaveState;
  /** When it was opened first. */
  readonly openedAt?: Date | undefined;
  /** When its state last changed, by the clock of the store; undefined while it is planned. */
  readonly since?: Date | undefined;
  /** What was known of its units when somebody resumed it, as the steering has it; kept until it is set anew. */
  readonly known?: unknown;
  readonly why?: string | undefined;
}

export type WaveReach =
  | { readonly kind: 'share'; readonly permille: number }
  | { readonly kind: 'units'; readonly devices: readonly string[] };

/** How the units of a wave stand; units that a later broadcast took over count as they stood then. */
export interface WaveCounts {
  readonly number: number;
  readonly units: number;
  readonly byState: Readonly<Record<UnitState, number>>;
  readonly byRefusal: readonly (UnitRefusal & { readonly units: number })[];
}

/** An entry of the journal, which is only ever appended to. */
export interface FleetEvent {
  /** Counted upwards; never given twice. */
  readonly seq: number;
  readonly at: Date;
  readonly kind: string;
  readonly broadcast?: number | undefined;
  readonly wave?: number | undefined;
  readonly device?: string | undefined;
  readonly who: string;
  readonly text: string;
}

export type NewEvent = Omit<FleetEvent, 'seq' | 'at'>;

/** A right that one process holds for a time. Writes bear it, and are refused once it has passed on. */
export interface Lease {
  readonly name: string;
  readonly holder: string;
  /** Rises with each new holder, and never falls. */
  readonly token: number;
  readonly until: Date;
}

/** The store. Every writing call is one transaction, or says that it works in pieces that can be done again. */
export interface FleetStore {
  /** Adds units and what an inventory tells of known ones. In pieces; doing it again changes nothing. */
  importUnits(rows: Iterable<UnitRow> | AsyncIterable<UnitRow>): Promise<ImportedUnits>;
  /** Every unit, in the order in which they were added. */
  exportUnits(): AsyncIterable<FleetUnit>;
  unit(name: UnitName): Promise<FleetUnit | undefined>;
  history(
    name: UnitName,
    page?: { after?: string | undefined; limit?: number | undefined },
  ): Promise<Page<HistoryEntry>>;
  search(query: UnitQuery): Promise<Page<FleetUnit>>;
  counts(of?: { classId?: string | undefined }): Promise<FleetCounts>;

  takeReport(report: UnitReport): Promise<Taken>;
  /** Several in one transaction: one wait for the disk. In the order given. */
  takeReports(reports: readonly UnitReport[]): Promise<Taken[]>;
  /** Counts old reports that say nothing which newer ones do not, and takes them out where `remove`. In pieces. */
  thinReports(before: Date, remove: boolean): Promise<ThinnedReports>;
  takeAttestation(attestation: UnitAttestation): Promise<Taken>;

  createBroadcast(made: NewBroadcast, fence?: Lease): Promise<Broadcast>;
  broadcast(id: number): Promise<Broadcast | undefined>;
  /** Newest first. */
  broadcasts(of?: { classId?: string | undefined; state?: BroadcastState | undefined }): Promise<Broadcast[]>;
  /** Refused where its revision is not the expected one: somebody else changed it meanwhile. The reason goes into the journal. */
  setBroadcastState(change: BroadcastChange, fence?: Lease): Promise<Broadcast>;
  waves(broadcast: number): Promise<Wave[]>;
  setWaveState(change: WaveChange, fence?: Lease): Promise<Wave>;
  /**
   * Puts the units of the class that are not in the broadcast yet into its waves; `waveOf` gives the number of a device's wave, or
   * undefined where it is in none. In pieces; doing it again places units that were added meanwhile. Gives how many were placed.
   */
  placeUnits(
    broadcast: number,
    waveOf: (device: string, unit: FleetUnit) => number | undefined,
    fence?: Lease,
  ): Promise<number>;
  waveCounts(broadcast: number): Promise<WaveCounts[]>;
  /** Units of an open wave that are `reached` or on trial and were not heard since then; none where it was opened later. */
  silent(broadcast: number, wave: number, since: Date): Promise<number>;

  /** Writes into the journal. */
  note(event: NewEvent, fence?: Lease): Promise<FleetEvent>;
  /** Oldest first, or newest first; from `after` on, not with it. */
  events(query?: EventQuery): Promise<FleetEvent[]>;

  /** Takes a lease that nobody holds; undefined where somebody does. */
  lease(name: string, holder: string, seconds: number): Promise<Lease | undefined>;
  /** Undefined where it has lapsed or passed on. */
  renew(lease: Lease, seconds: number): Promise<Lease | undefined>;
  release(lease: Lease): Promise<void>;
  holderOf(name: string): Promise<Lease | undefined>;
  /** Leases that somebody holds now. */
  leases(): Promise<Lease[]>;

  /** Writes everything as it stands at one moment into a new file. */
  backup(path: string): Promise<BackupFacts>;
  /** Adds what a backup holds and the store does not; takes nothing away, and brings no number back. */
  restore(path: string, seen?: SeenNumbers): Promise<RestoredFacts>;
  close(): Promise<void>;
}

export interface ImportedUnits {
  readonly added: number;
  readonly changed: number;
  readonly same: number;
}

export interface NewBroadcast {
  readonly classId: string;
  readonly release: OfferedRelease;
  readonly plan: unknown;
  readonly waves: readonly Pick<Wave, 'number' | 'name' | 'reach'>[];
  readonly who: string;
}

export interface BroadcastChange {
  readonly id: number;
  readonly expectedRevision: number;
  readonly state: BroadcastState;
  readonly why?: string | undefined;
  readonly who: string;
}

export interface WaveChange {
  readonly broadcast: number;
  readonly number: number;
  /** Of the broadcast; it rises by one. */
  readonly expectedRevision: number;
  readonly state: WaveState;
  /** JSON; left out: as it was. */
  readonly known?: unknown;
  readonly why?: string | undefined;
  readonly who: string;
}

export interface EventQuery {
  readonly broadcast?: number | undefined;
  readonly device?: string | undefined;
  /** Leaves out what is told of single units. */
  readonly withoutUnits?: boolean | undefined;
  readonly after?: number | undefined;
  readonly newestFirst?: boolean | undefined;
  readonly limit?: number | undefined;
}

/** Numbers that are known to have been given, from the ledger or from elsewhere. */
export interface SeenNumbers {
  readonly broadcast?: number | undefined;
}

export interface ThinnedReports {
  /** Reports that may go, or went. */
  readonly spare: number;
  /** Reports that stay. */
  readonly kept: number;
}

export interface BackupFacts {
  readonly units: number;
  readonly reports: number;
  readonly sha256: string;
}

export interface RestoredFacts extends BackupFacts {
  readonly made: Date;
  readonly unitsAdded: number;
  readonly reportsAdded: number;
  readonly broadcastsPaused: readonly number[];
}
