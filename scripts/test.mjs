// `npm test`: everything, from a fresh clone. Ends with one line: N passed, N failed, N skipped.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { prepareDebian, prepareNpm } from './prepare.mjs';

const CHECKS = [
  ['format and lint', 'npx', ['biome', 'check', '.']],
  ['types', 'npx', ['tsc', '--noEmit']],
  ['types of the pages', 'npx', ['tsc', '--noEmit', '-p', 'web']],
  ['imports point one way', 'node', ['scripts/layers.mjs']],
  ['nothing unused', 'npx', ['knip']],
  ['the command builds', 'node', ['scripts/build.mjs']],
];
const REPORT = '.test-output/vitest.json';

process.chdir(fileURLToPath(new URL('..', import.meta.url)));
// The compiler first: npm builds the token adapter with it.
const missing = prepareDebian();
prepareNpm();
const ci = process.env.CI === 'true';
const totals = { passed: 0, failed: 0, skipped: 0 };

for (const [title, command, args] of CHECKS) runCheck(title, command, args);
runSuites();
for (const part of missing) reportMissing(part);
if (!existsSync(process.env.FIELDSEAL_VECTORS ?? '../shared/vectors')) {
  console.log(
    'SKIPPED: suites over the published vectors beside the checkout (folder absent; set FIELDSEAL_VECTORS)',
  );
}
console.log(`${totals.passed} passed, ${totals.failed} failed, ${totals.skipped} skipped`);
process.exitCode = totals.failed === 0 ? 0 : 1;

function runCheck(title, command, args) {
  const result = spawnSync(command, args, { encoding: 'utf8' });
  const passed = result.status === 0;
  totals[passed ? 'passed' : 'failed'] += 1;
  console.log(`${passed ? 'ok    ' : 'FAILED'} ${title}`);
  if (!passed) console.log(result.stdout + result.stderr);
}

function runSuites() {
  mkdirSync('.test-output', { recursive: true });
  const args = [
    'vitest',
    'run',
    '--coverage',
    '--reporter=default',
    '--reporter=json',
    `--outputFile.json=${REPORT}`,
  ];
  const result = spawnSync('npx', args, { stdio: ['ignore', 'inherit', 'inherit'] });
  const report = existsSync(REPORT) ? JSON.parse(readFileSync(REPORT, 'utf8')) : undefined;
  if (!report || report.numTotalTests === 0) {
    totals.failed += 1;
    console.log('FAILED the suites gave no report');
    return;
  }
  totals.passed += report.numPassedTests;
  totals.failed += report.numFailedTests;
  totals.skipped += report.numPendingTests + report.numTodoTests;
  // A suite that breaks before its first test, or an error outside any test, counts in no test number.
  if (result.status !== 0 && report.numFailedTests === 0) totals.failed += 1;
}

function reportMissing(part) {
  if (ci) totals.failed += 1;
  console.log(`${ci ? 'FAILED' : 'SKIPPED'}: the Debian package ${part.name} is missing (${part.for})`);
}
