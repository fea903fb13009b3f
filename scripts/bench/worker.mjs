// The process that checks, reads and installs in a loop, as its parent asks: rooms of src in one bundle, on one core.
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

/** Starts the worker on `core`. `ask(task)` gives its answer; `end()` stops it. */
export async function startWorker(folder, core, given) {
  const bundle = folder.file('worker.mjs');
  await build({
    entryPoints: [fileURLToPath(new URL('tasks.ts', import.meta.url))],
    outfile: bundle,
    bundle: true,
    format: 'esm',
    platform: 'node',
    logLevel: 'warning',
  });
  const child = spawn('taskset', ['-c', core, process.execPath, bundle, JSON.stringify(given)], {
    stdio: ['ignore', 'inherit', 'inherit', 'ipc'],
  });
  const ended = once(child, 'exit').then(([status]) => {
    throw new Error(`the worker ended with status ${status}`);
  });
  ended.catch(() => {});
  return {
    async ask(task) {
      child.send(task);
      const [answer] = await Promise.race([once(child, 'message'), ended]);
      return answer;
    },
    end: () => child.disconnect(),
  };
}

/** The last core that this process may run on. */
export function lastCore() {
  const list = /^Cpus_allowed_list:\s*(\S+)$/m.exec(readFileSync('/proc/self/status', 'utf8'))[1];
  return list.split(/[,-]/).at(-1);
}
