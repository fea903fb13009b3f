import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Figures } from './figures.ts';
import { runTrial } from './trial.ts';

/** Runs a trial and prints what it came to; exit status 1 where a promise was broken. */
export async function main({
  units,
  seed,
  workers,
}: Record<'units' | 'seed' | 'workers', number>): Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), 'trial-'));
  const began = performance.now();
  const tell = (text: string) =>
    console.log(`${((performance.now() - began) / 1000).toFixed(0).padStart(6)} s  ${text}`);
  try {
    const { broken, figures } = await runTrial({ units, seed, workers, folder, tell });
    print(figures);
    for (const each of broken.slice(0, 50)) console.log(`BROKEN  ${each}`);
    console.log(broken.length === 0 ? 'every promise was kept' : `${broken.length} promises were broken`);
    process.exitCode = broken.length === 0 ? 0 : 1;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function print(figures: Figures): void {
  const { units, seconds, requests, requestsPerSecond, p95, acknowledged, peakMemoryBytes, met } = figures;
  const rows: [string, string][] = [
    ['units', String(units)],
    ['seconds', seconds.toFixed(0)],
    ['requests at the server', `${requests}, ${requestsPerSecond.toFixed(0)} a second`],
    ['answered within, p95', `${p95.toFixed(1)} ms`],
    ['reports acknowledged', String(acknowledged)],
    ['memory of an agent process', `${(peakMemoryBytes / 1e6).toFixed(0)} MB at most`],
    ...Object.entries(met).map(([name, count]): [string, string] => [name, String(count)]),
  ];
  for (const [name, value] of rows) console.log(`  ${name.padEnd(40)} ${value}`);
}
