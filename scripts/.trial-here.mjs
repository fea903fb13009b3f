// `npm run trial`: a release goes to thousands of virtual units over real HTTP and a real broker while messages are lost,
// doubled, delayed and overtaken, agents and the server are killed, the broker is gone, the depot lies and disks are full.
// Ends with figures, and with exit status 1 where a promise was broken. Wants about 150 KB a unit in TMPDIR; on memory it is
// quicker.
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync } from 'node:fs';
import { resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { build } from 'esbuild';
import { prepareNpm } from "./prepare.mjs";

const USAGE = `npm run trial -- [options]
  --units <n>    virtual units (default 1000)
  --workers <n>  agent processes (default 4)
  --seed <n>     the same seed disturbs in the same way (default 1)`;

process.chdir(fileURLToPath(new URL('..', import.meta.url)));
const options = readArguments();

if (!existsSync('/usr/sbin/mosquitto')) {
  console.error('there is no broker: install the Debian package mosquitto');
  process.exit(3);
}
execFileSync('node', ['scripts/build.mjs'], { stdio: 'inherit' });
mkdirSync('.test-output', { recursive: true });
const bundle = resolve('.test-output/trial.mjs');
await build({
  entryPoints: ['scripts/trial/run.ts'],
  outfile: bundle,
  bundle: true,
  format: 'esm',
  platform: 'node',
  packages: 'external',
  logLevel: 'warning',
});
const { main } = await import(bundle);
await main(options);

function readArguments() {
  try {
    const number = (value) => ({ type: 'string', default: value });
    const { values } = parseArgs({
      options: { units: number('1000'), workers: number('4'), seed: number('1') },
    });
    const numbers = Object.fromEntries(Object.entries(values).map(([name, text]) => [name, Number(text)]));
    const wrong = Object.entries(numbers).find(([, value]) => !Number.isSafeInteger(value) || value < 1);
    if (wrong) throw new Error(`--${wrong[0]} wants a whole number above 0`);
    return numbers;
  } catch (error) {
    console.error(`${error.message}\n${USAGE}`);
    process.exit(2);
  }
}
