// `npm run device:deep`: what `npm test` does to the device kit in minutes, at length: every subject of the rehearsal, thousands of
// hostile payloads of each class, power cuts at every operation on the emulated core and on the example board, millions
// of fuzz cases, and a proof over any bytes that the parser reads nothing but them.
import { spawnSync } from 'node:child_process';
import { PROOF_PARTS, prepareDebian, prepareNpm } from './prepare.mjs';

const missing = prepareDebian(PROOF_PARTS);
prepareNpm();
for (const { name, for: purpose } of missing)
  console.log(`the Debian package ${name} is missing (${purpose})`);
const env = { ...process.env, FIELDSEAL_DEVICE_DEEP: '1' };
const { status } = spawnSync('npx', ['vitest', 'run', '--project', 'device'], { stdio: 'inherit', env });
process.exitCode = status === 0 && missing.length === 0 ? 0 : 1;
