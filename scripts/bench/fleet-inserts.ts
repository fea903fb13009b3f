/**
 * Inserts as the fleet store makes them, and as the bare driver makes them into the same tables with the same indexes, equally durable and as
 * many in a transaction: `FOLDER ROUNDS ROWS`. Prints rows a second of each, round by round.
 */
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { openFleet } from '../../src/fleet/index.ts';

const CLASS = 'c0'.repeat(16);
const PIECE = 1000;
const [folder, rounds, rows] = [process.argv[2]!, Number(process.argv[3]), Number(process.argv[4])];
const figures = { ours: [] as number[], bare: [] as number[] };

for (let round = 0; round < rounds; round++) {
  const sides = [
    ['ours', ours],
    ['bare', bare],
  ] as const;
  for (const [name, side] of round % 2 === 0 ? sides : sides.toReversed())
    figures[name].push(rows / (await side(join(folder, `${name}-${round}.sqlite`))));
}
console.log(JSON.stringify(figures));

function deviceAt(n: number): string {
  return `${(n * 2_654_435_761) % 2 ** 32}`.padStart(32, '0');
}

async function ours(path: string): Promise<number> {
  const store = await openFleet(path);
  const units = Array.from({ length: rows }, (_, n) => ({
    classId: CLASS,
    device: deviceAt(n),
    serial: String(n),
    group: `house-${n % 400}`,
    version: '1.4.0',
    sequence: 12n,
  }));
  const begin = performance.now();
  await store.importUnits(units);
  const seconds = (performance.now() - begin) / 1000;
  await store.close();
  return seconds;
}

async function bare(path: string): Promise<number> {
  await (await openFleet(path)).close();
  const file = new Database(path);
  file.pragma('synchronous = FULL');
  file.pragma('cache_size = -65536');
  file.exec(`insert into classes (no, class_id) values (1, '${CLASS}');
    insert into cells (no, class_no, wave_no, state, version, refusal_step, refusal_code, n)
    values (1, 1, 0, 'unheard', '1.4.0', '', '', 0)`);
  const insert = file.prepare(
    'insert into units (class_no, device, serial, site, sequence, cell_no, heard_at) values (1, ?, ?, ?, ?, 1, 0)',
  );
  const piece = file.transaction((from: number) => {
    for (let n = from; n < from + PIECE; n++)
      insert.run(deviceAt(n), String(n), `house-${n % 400}`, '0000000000000000012');
  });
  const begin = performance.now();
  for (let from = 0; from < rows; from += PIECE) piece(from);
  const seconds = (performance.now() - begin) / 1000;
  file.close();
  return seconds;
}
