import { type Kysely, type Migration, Migrator, sql } from 'kysely';
import type { BackendKind } from './backend.ts';
import { FleetError } from './error.ts';

/** Brings a store to the newest form, or says that a newer program made it. Several processes may do so at once. */
export async function migrate(db: Kysely<never>, kind: BackendKind): Promise<void> {
  const migrator = new Migrator({ db, provider: { getMigrations: async () => migrationsFor(kind) } });
  const { error } = await migrator.migrateToLatest();
  if (error === undefined) return;
  if (!/previously executed migration .* is missing/.test(String(error))) throw error;
  throw new FleetError(
    'store-newer',
    'the fleet store was made by a newer fieldseal; this one does not know its form, and left it as it is',
    'use the newer program, or name another store',
    error,
  );
}

/** Texts are compared byte by byte on both, so that pages and ranges are the same. */
function migrationsFor(kind: BackendKind): Record<string, Migration> {
  const text = kind === 'sqlite' ? sql`text` : sql`text collate "C"`;
  const bytes = kind === 'sqlite' ? sql`blob` : sql`bytea`;
  const number = kind === 'sqlite' ? sql`integer` : sql`bigint`;
  const counted = kind === 'sqlite' ? sql`integer primary key autoincrement` : sql`bigserial primary key`;
  // Judged when a transaction ends: SQLite need not be ready then to take back a statement of many rows.
  const later = sql`deferrable initially deferred`;
  return {
    '0001': {
      async up(db) {
        for (const statement of [
          sql`create table classes (no ${counted}, class_id ${text} not null unique)`,
          sql`create table cells (
            no ${counted}, class_no ${number} not null references classes (no), wave_no ${number} not null,
            state ${text} not null, version ${text} not null, refusal_step ${text} not null, refusal_code ${text} not null,
            n ${number} not null default 0 check (n >= 0),
            unique (class_no, wave_no, state, version, refusal_step, refusal_code))`,
          sql`create table left_cells (
            wave_no ${number} not null, state ${text} not null, refusal_step ${text} not null, refusal_code ${text} not null,
            n ${number} not null, primary key (wave_no, state, refusal_step, refusal_code))`,
          sql`create table units (
            no ${counted}, class_no ${number} not null references classes (no) ${later}, device ${text} not null, serial ${text},
            site ${text}, hardware ${text}, tags ${text}, sequence ${text}, digest ${text},
            cell_no ${number} not null references cells (no) ${later}, heard_at ${number} not null, heard_order ${text},
            runs_order ${text}, ended_order ${text}, attested_at ${number}, attested_verdict ${text},
            unique (class_no, device))`,
          sql`create index units_by_cell on units (cell_no, heard_at, no)`,
          sql`create index units_by_serial on units (serial, no) where serial is not null`,
          sql`create index units_by_site on units (site, no) where site is not null`,
          sql`create table reports (
            no ${counted}, unit_no ${number} not null references units (no), id ${text} not null unique, at ${number} not null,
            age ${number}, manifest_digest ${text}, sequence ${text}, version ${text}, outcome ${text} not null,
            refusal_step ${text}, refusal_code ${text}, raw ${bytes} not null)`,
          sql`create index reports_by_unit on reports (unit_no, at, no)`,
          sql`create table attestations (
            no ${counted}, unit_no ${number} not null references units (no), id ${text} not null unique, at ${number} not null,
            verdict ${text} not null, refusal ${text})`,
          sql`create index attestations_by_unit on attestations (unit_no, at, no)`,
          sql`create table broadcasts (
            id ${number} primary key, class_no ${number} not null references classes (no), manifest_digest ${text} not null,
            sequence ${text} not null, version ${text} not null, plan ${text} not null, state ${text} not null, why ${text},
            revision ${number} not null, created_at ${number} not null)`,
          sql`create unique index broadcasts_under_way on broadcasts (class_no)
            where state in ('planned', 'running', 'paused')`,
          sql`create table waves (
            no ${counted}, broadcast ${number} not null references broadcasts (id), number ${number} not null,
            name ${text} not null, reach ${text} not null, state ${text} not null, opened_at ${number}, since ${number},
            known ${text}, why ${text}, unique (broadcast, number))`,
          sql`create table events (
            seq ${number} primary key, at ${number} not null, kind ${text} not null, broadcast ${number}, wave ${number},
            device ${text}, who ${text} not null, text ${text} not null)`,
          sql`create index events_by_broadcast on events (broadcast, seq) where broadcast is not null`,
          sql`create index events_by_device on events (device, seq) where device is not null`,
          sql`create table leases (
            name ${text} primary key, holder ${text} not null, token ${number} not null, until ${number} not null)`,
          sql`create table numbers (name ${text} primary key, value ${number} not null)`,
        ])
          await statement.execute(db);
      },
    },
  };
}
