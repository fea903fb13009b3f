// HSS/LMS against the hashes that its parameters require (RFC 8554: half of every chain), at the rate at which node:crypto
// hashes one block beside it. Making a key, signing with kept trees, verifying; no passphrase and no disk.
import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';
import { lastCore } from './worker.mjs';

export async function benchHashBased(report, folder) {
  report.part(
    'HSS/LMS, time over (hashes required x time of a bare hash); the bound is for signing and verifying',
  );
  for (const row of await measured(folder)) {
    const rate = `${(row.hashesPerSecond / 1e6).toFixed(1)} M hashes/s`;
    report.bound(`${row.parameters} sign`, row.signRatio, 2, `${row.signMs.toFixed(2)} ms; ${rate}`);
    report.bound(`${row.parameters} verify`, row.verifyRatio, 2, `${row.verifyMs.toFixed(2)} ms`);
    const made = `${(row.madeMs / 1000).toFixed(1)} s, ratio ${row.makeRatio.toFixed(2)}`;
    report.figure(`${row.parameters} make a tree`, `${made}; signature ${row.signatureBytes} bytes`);
  }
}

async function measured(folder) {
  const bundle = folder.file('hash-based.mjs');
  await build({
    entryPoints: [fileURLToPath(new URL('hash-based-task.ts', import.meta.url))],
    outfile: bundle,
    bundle: true,
    format: 'esm',
    platform: 'node',
    logLevel: 'warning',
  });
  const told = execFileSync('taskset', ['-c', lastCore(), process.execPath, bundle], { encoding: 'utf8' });
  return JSON.parse(told);
}
