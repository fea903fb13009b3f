// `npm run bench`: how fast and how large, each figure against a reference that runs beside it. Exit status 1 when a
// bound is missed. No part of `npm test`: a timed test fails on a busy machine, and a bound that allows for one says little.
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { cpus, loadavg } from 'node:os';
import { fileURLToPath } from 'node:url';
import { benchAcceptance } from './bench/acceptance.mjs';
import { benchBroadcast } from './bench/broadcast.mjs';
import { benchChecking } from './bench/checking.mjs';
import { benchEncrypting } from './bench/encrypting.mjs';
import { benchFleet } from './bench/fleet.mjs';
import { withBenchFolder } from './bench/folder.mjs';
import { benchHashBased } from './bench/hash-based.mjs';
import { benchRates } from './bench/rates.mjs';
import { Report } from './bench/report.mjs';
import { benchSealing } from './bench/sealing.mjs';
import { benchStartUp } from './bench/start-up.mjs';
import { prepareNpm } from './prepare.mjs';

const PARTS = {
  'start-up': benchStartUp,
  sealing: benchSealing,
  encrypting: benchEncrypting,
  checking: benchChecking,
  acceptance: benchAcceptance,
  'hash-based': benchHashBased,
  rates: benchRates,
  broadcast: benchBroadcast,
  fleet: benchFleet,
};

process.chdir(fileURLToPath(new URL('..', import.meta.url)));
prepareNpm();
execFileSync('node', ['scripts/build.mjs'], { stdio: 'inherit' });
const wanted = process.argv.slice(2);
const unknown = wanted.find((name) => !(name in PARTS));
if (unknown) {
  console.error(`no part ${unknown}; there are: ${Object.keys(PARTS).join(', ')}`);
  process.exit(2);
}

const report = new Report();
report.line(machine());
await withBenchFolder(async (folder) => {
  for (const [name, run] of Object.entries(PARTS)) {
    if (wanted.length === 0 || wanted.includes(name)) await run(report, folder);
  }
});
report.line(`load ${loadNow()} at the end`);
process.exitCode = report.close();

function machine() {
  const openssl = execFileSync('openssl', ['version'], { encoding: 'utf8' }).split(' ').slice(0, 2).join(' ');
  const { version, versions } = process;
  return `node ${version} (OpenSSL ${versions.openssl}), ${openssl}, ${cpus().length} processors, load ${loadNow()}`;
}

function loadNow() {
  const running = readFileSync('/proc/loadavg', 'utf8').split(' ')[3];
  return `${loadavg()[0].toFixed(1)} (${running} running)`;
}
