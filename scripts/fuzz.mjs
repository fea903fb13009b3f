// `npm run fuzz`: hostile input by the million. `parsers` mutates files for each parser, `payloads` whole payloads for whole
// units. Exit status 1 where anything was accepted that nobody sealed, crashed, hung, grew, or broke a promise; the case
// is kept below test/corpus. Says what became of all others.
import { mkdirSync } from 'node:fs';
import { resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { build } from 'esbuild';
import { FuzzRun } from './fuzz/fuzz-run.mjs';
import { prepareNpm } from './prepare.mjs';

const USAGE = `npm run fuzz -- [parsers] [payloads] [options]
  --count <n>     cases for each parser or class of attack (default 20000)
  --seed <n>      the same seed gives the same cases (default: the time)
  --jobs <n>      threads (default 1)
  --only <names>  parsers or classes, separated by commas
  --keep          add inputs of a new kind to test/corpus`;

process.chdir(fileURLToPath(new URL('..', import.meta.url)));
const { values, positionals } = readArguments();
prepareNpm();
mkdirSync('.test-output', { recursive: true });
const bundle = resolve('.test-output/fuzz-worker.mjs');
await build({
  entryPoints: ['scripts/fuzz/worker.ts'],
  outfile: bundle,
  bundle: true,
  format: 'esm',
  platform: 'node',
  packages: 'external',
  sourcemap: 'inline',
  logLevel: 'warning',
});

let broken = false;
for (const what of positionals.length > 0 ? positionals : ['parsers', 'payloads']) {
  const run = new FuzzRun({ what, bundle, corpus: resolve('test/corpus'), ...values });
  broken = !(await run.finish()) || broken;
}
process.exitCode = broken ? 1 : 0;

function readArguments() {
  try {
    const { values, positionals } = parseArgs({
      allowPositionals: true,
      options: {
        count: { type: 'string', default: '20000' },
        seed: { type: 'string', default: String(Math.floor(Date.now() / 1000)) },
        jobs: { type: 'string', default: '1' },
        only: { type: 'string' },
        keep: { type: 'boolean', default: false },
      },
    });
    const numbers = Object.fromEntries(['count', 'seed', 'jobs'].map((name) => [name, Number(values[name])]));
    const wrong = Object.entries(numbers).find(([, value]) => !Number.isSafeInteger(value) || value < 1);
    const unknown = positionals.find((name) => name !== 'parsers' && name !== 'payloads');
    if (wrong) throw new Error(`--${wrong[0]} wants a whole number above 0`);
    if (unknown) throw new Error(`there is no ${unknown}`);
    return { values: { ...numbers, only: values.only?.split(','), keep: values.keep }, positionals };
  } catch (error) {
    console.error(`${error.message}\n${USAGE}`);
    process.exit(2);
  }
}
