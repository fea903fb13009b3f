// `npm run demo`: the main job from end to end, on a fresh clone, with invented firmware and trial keys.
import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { prepareNpm } from './prepare.mjs';

process.chdir(fileURLToPath(new URL('..', import.meta.url)));
prepareNpm();
execFileSync('node', ['scripts/build.mjs'], { stdio: 'inherit' });
await import('../demo/run.mjs');
