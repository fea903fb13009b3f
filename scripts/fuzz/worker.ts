/** One thread of a fuzz run: takes stretches of cases, answers with what it found. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { runInNewContext } from 'node:vm';
import { parentPort, workerData } from 'node:worker_threads';
import { payloadFuzzer } from './payloads/fuzzer.ts';
import { runStretch } from './stretch.ts';
import { targetFuzzer } from './target-fuzzer.ts';
import type { Found, Stretch } from './task.ts';

interface Given {
  readonly what: 'payloads' | 'parsers';
  readonly corpus: string;
  readonly keep: boolean;
  /** The number of the case that runs, for whoever watches for hangs. */
  readonly progress: SharedArrayBuffer;
}

const { what, corpus, keep, progress } = workerData as Given;
const at = new Int32Array(progress);
// The flag --expose-gc is set by whoever started this thread.
const collect = runInNewContext('gc') as () => void;
const fuzzer = what === 'payloads' ? await payloadFuzzer() : await targetFuzzer(corpus, keep);

parentPort!.on('message', (stretch: Stretch) => {
  const found: Found = runStretch(fuzzer, stretch, { at: (number) => Atomics.store(at, 0, number), collect });
  for (const { name, number, told } of found.violations) save(name, stretch.seed, number, told);
  parentPort!.postMessage(found);
});
parentPort!.postMessage(fuzzer.names);

function save(name: string, seed: number, number: number, told: string): void {
  const kept = fuzzer.kept(name, seed, number, told);
  const path = join(corpus, kept.path);
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, kept.content);
  console.error(`kept: ${path}`);
}
