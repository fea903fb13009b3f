// The fleet store with a million units: what its screens ask, and inserts against the bare driver of SQLite.
import { symlinkSync } from 'node:fs';
import { dirname, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';
import { median, medianRatio, runCommand } from './rounds.mjs';

const UNITS = 1_000_000;
const MOST_MS = 300;
const ROUNDS = 5;
const ROWS = 50_000;

export async function benchFleet(report, folder) {
  report.part('Fleet store: inserts against better-sqlite3 itself, as many in a transaction and as durable');
  const inserts = JSON.parse(
    runCommand(
      [process.execPath, await bundled(folder, 'fleet-inserts.ts'), folder.file(''), ROUNDS, ROWS].map(
        String,
      ),
    ),
  );
  const detail = `median of ${ROUNDS} pairs; ${median(inserts.ours).toFixed(0)} a second against ${median(inserts.bare).toFixed(0)}`;
  report.bound('store inserts, ratio', medianRatio(inserts.ours, inserts.bare), 0.5, detail, {
    atLeast: true,
  });
  const task = await bundled(folder, 'fleet-task.ts');
  measure(report, task, folder.file('fleet.sqlite'), `SQLite, ${UNITS} units`, UNITS);
  const { Cluster, POSTGRES_PRESENT } = await import(await bundled(folder, '../../test/fleet/cluster.ts'));
  if (!POSTGRES_PRESENT) {
    report.figure('PostgreSQL', 'not measured: missing (Debian: postgresql)');
    return;
  }
  const cluster = new Cluster();
  await cluster.start();
  try {
    measure(report, task, cluster.database(), `PostgreSQL, ${UNITS} units`, UNITS);
  } finally {
    cluster.end();
  }
}

function measure(report, task, place, title, units) {
  report.part(`Fleet store on ${title}: 95 of 100 answers within`);
  const told = JSON.parse(runCommand([process.execPath, task, place, String(units)]));
  for (const [name, ms] of Object.entries(told.p95_ms)) report.bound(name, ms, MOST_MS, '', { unit: ' ms' });
  const rate = (value) => `${value.toFixed(0).padStart(9)} a second`;
  report.figure('units imported', rate(told.import_per_second));
  report.figure('units placed in waves', rate(told.place_per_second));
  report.figure('reports taken, 256 together', rate(told.reports_per_second));
  report.figure('most memory', `${told.peak_megabytes.toFixed(0).padStart(9)} MB`);
}

/** A script in one file, beside which the packages are found that cannot be bundled. */
async function bundled(folder, name) {
  const outfile = folder.file(
    name
      .replaceAll('/', '-')
      .replace(/^[.-]+/, '')
      .replace('.ts', '.mjs'),
  );
  await build({
    entryPoints: [fileURLToPath(new URL(name, import.meta.url))],
    outfile,
    bundle: true,
    format: 'esm',
    platform: 'node',
    external: ['better-sqlite3', 'pg-native', 'pkcs11js'],
    banner: {
      js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
    },
    logLevel: 'warning',
  });
  try {
    symlinkSync(resolve('node_modules'), resolve(dirname(outfile), 'node_modules'));
  } catch (error) {
    if (error.code !== 'EEXIST') throw error;
  }
  return outfile;
}
