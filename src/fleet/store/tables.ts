import type { Generated, Insertable, Selectable } from 'kysely';

/**
 * The tables, alike on SQLite and PostgreSQL. Times are milliseconds since 1970; sequence numbers 19 decimal digits, so that
 * texts sort as numbers do; lists and objects are JSON texts. `''` and 0 stand for "none" where a column is part of a key.
 */
export interface Tables {
  classes: ClassTable;
  cells: CellTable;
  left_cells: LeftTable;
  units: UnitTable;
  reports: ReportTable;
  attestations: AttestationTable;
  broadcasts: BroadcastTable;
  waves: WaveTable;
  events: EventTable;
  leases: LeaseTable;
  numbers: NumberTable;
}

interface ClassTable {
  no: Generated<number>;
  class_id: string;
}

/**
 * One row for each way in which units can stand alike, with how many do. A unit names its cell, so counts are kept up by moving it
 * from one to another, and units of any kind are found by their cells.
 */
interface CellTable {
  no: Generated<number>;
  class_no: number;
  wave_no: number;
  state: StoredState;
  version: string;
  refusal_step: string;
  refusal_code: string;
  n: Generated<number>;
}

/** How units stood in a wave when a later broadcast took them over. */
interface LeftTable {
  wave_no: number;
  state: StoredState;
  refusal_step: string;
  refusal_code: string;
  n: number;
}

/** `reached` is not stored: it is `waiting` in a wave that was opened, or in none. */
export type StoredState = 'unheard' | 'waiting' | 'on-trial' | 'kept' | 'refused' | 'fell-back';

interface UnitTable {
  no: Generated<number>;
  class_no: number;
  device: string;
  serial: string | null;
  site: string | null;
  hardware: string | null;
  tags: string | null;
  sequence: string | null;
  digest: string | null;
  cell_no: number;
  /** 0: never. */
  heard_at: number;
  heard_order: string | null;
  runs_order: string | null;
  ended_order: string | null;
  attested_at: number | null;
  attested_verdict: string | null;
}

interface ReportTable {
  no: Generated<number>;
  unit_no: number;
  id: string;
  at: number;
  age: number | null;
  manifest_digest: string | null;
  sequence: string | null;
  version: string | null;
  outcome: 'success' | 'pending' | 'unfinished' | 'failed';
  refusal_step: string | null;
  refusal_code: string | null;
  raw: Uint8Array;
}

interface AttestationTable {
  no: Generated<number>;
  unit_no: number;
  id: string;
  at: number;
  verdict: string;
  refusal: string | null;
}

interface BroadcastTable {
  id: number;
  class_no: number;
  manifest_digest: string;
  sequence: string;
  version: string;
  plan: string;
  state: 'planned' | 'running' | 'paused' | 'halted' | 'done';
  why: string | null;
  revision: number;
  created_at: number;
}

interface WaveTable {
  no: Generated<number>;
  broadcast: number;
  number: number;
  name: string;
  reach: string;
  state: 'planned' | 'open' | 'soaking' | 'passed' | 'stopped';
  opened_at: number | null;
  since: number | null;
  /** JSON. */
  known: string | null;
  why: string | null;
}

interface EventTable {
  seq: number;
  at: number;
  kind: string;
  broadcast: number | null;
  wave: number | null;
  device: string | null;
  who: string;
  text: string;
}

interface LeaseTable {
  name: string;
  holder: string;
  token: number;
  until: number;
}

/** Numbers that only rise: events, broadcasts. */
interface NumberTable {
  name: string;
  value: number;
}

export type UnitRecord = Selectable<UnitTable>;
export type NewUnitRecord = Insertable<UnitTable>;
export type CellRecord = Selectable<CellTable>;
export type ReportRecord = Selectable<ReportTable>;
export type BroadcastRecord = Selectable<BroadcastTable>;
export type WaveRecord = Selectable<WaveTable>;
export type EventRecord = Selectable<EventTable>;
