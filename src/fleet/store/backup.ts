import type { Kysely } from 'kysely';
import { type Line, writeLines } from './backup-lines.ts';
import { type CellCache, readCell } from './cells.ts';
import { classIds, offeredWaves } from './classes.ts';
import type { Core } from './core.ts';
import { yieldTurn } from './core.ts';
import type { Tables } from './tables.ts';
import type { BackupFacts } from './types.ts';
import { eachRow } from './units.ts';

export const BACKUP_FORMAT = 'fieldseal.fleet-backup/1';
const PIECE = 1000;

/** Writes everything as it stands at one moment into a new file; others may write on meanwhile. */
export async function backupTo(core: Core, path: string): Promise<BackupFacts> {
  const counts = { unit: 0, report: 0 };
  async function* counted(lines: AsyncIterable<Line>): AsyncGenerator<Line> {
    for await (const line of lines) {
      if (line[0] in counts) counts[line[0] as keyof typeof counts] += 1;
      yield line;
    }
  }
  const sha256 = await core.backend.snapshot((db) => writeLines(path, counted(linesOf(core, db))));
  return { units: counts.unit, reports: counts.report, sha256 };
}

async function* linesOf(core: Core, db: Kysely<Tables>): AsyncGenerator<Line> {
  const numbers = Object.fromEntries(
    (await db.selectFrom('numbers').selectAll().execute()).map(({ name, value }) => [name, value]),
  );
  const leases = await db.selectFrom('leases').select(['name', 'token']).execute();
  yield ['head', { format: BACKUP_FORMAT, made: core.now().toISOString(), numbers, leases }];
  const classes = await classIds(db);
  const waves = await offeredWaves(db);
  const inWave = (no: number) => {
    const wave = waves.get(no);
    return wave ? { broadcast: wave.broadcast, wave: wave.number } : {};
  };
  for (const { class_no, ...row } of await db.selectFrom('broadcasts').selectAll().orderBy('id').execute())
    yield ['broadcast', { class: classes.get(class_no), ...row }];
  for (const { no, ...row } of await db.selectFrom('waves').selectAll().orderBy('no').execute())
    yield ['wave', row];
  for (const { wave_no, ...row } of await db.selectFrom('left_cells').selectAll().execute())
    yield ['left', { ...inWave(wave_no), ...row }];
  for await (const { no, class_no, cell_no, ...row } of eachRow(db)) {
    const { waveNo, state, version, step, code } = await cellAt(core.cells, db, cell_no);
    yield ['unit', { class: classes.get(class_no), ...inWave(waveNo), state, version, step, code, ...row }];
  }
  for await (const { no, unit_no, class_no, raw, ...row } of reportRows(db))
    yield ['report', { class: classes.get(class_no), ...row, raw: Buffer.from(raw).toString('base64') }];
  for await (const { no, unit_no, class_no, ...row } of attestationRows(db))
    yield ['attestation', { class: classes.get(class_no), ...row }];
  for (let last = 0; ; ) {
    const rows = await db
      .selectFrom('events')
      .selectAll()
      .where('seq', '>', last)
      .orderBy('seq')
      .limit(PIECE)
      .execute();
    for (const row of rows) yield ['event', { ...row }];
    if (rows.length < PIECE) return;
    last = rows.at(-1)!.seq;
  }
}

async function cellAt(cells: CellCache, db: Kysely<Tables>, no: number) {
  const known = cells.at(no);
  if (known) return known;
  const cell = await readCell(db, no);
  cells.learn([cell]);
  return cell;
}

function reportRows(db: Kysely<Tables>) {
  return inPieces((last) =>
    db
      .selectFrom('reports')
      .innerJoin('units', 'units.no', 'reports.unit_no')
      .selectAll('reports')
      .select(['units.class_no', 'units.device'])
      .where('reports.no', '>', last)
      .orderBy('reports.no')
      .limit(PIECE)
      .execute(),
  );
}

function attestationRows(db: Kysely<Tables>) {
  return inPieces((last) =>
    db
      .selectFrom('attestations')
      .innerJoin('units', 'units.no', 'attestations.unit_no')
      .selectAll('attestations')
      .select(['units.class_no', 'units.device'])
      .where('attestations.no', '>', last)
      .orderBy('attestations.no')
      .limit(PIECE)
      .execute(),
  );
}

async function* inPieces<T extends { readonly no: number }>(
  piece: (last: number) => Promise<T[]>,
): AsyncGenerator<T> {
  for (let last = 0; ; ) {
    const rows = await piece(last);
    yield* rows;
    if (rows.length < PIECE) return;
    last = rows.at(-1)!.no;
    await yieldTurn();
  }
}
