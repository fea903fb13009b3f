import { type ChildProcess, spawn } from 'node:child_process';
import { type Bench, COMMAND } from './command.ts';

/** Starts a command that goes on running, in the bench's folder WS. */
export function started(bench: Bench, line: string | readonly string[]): ChildProcess {
  const words = typeof line === 'string' ? line.split(' ') : line;
  return spawn(process.execPath, [COMMAND, ...words], {
    cwd: bench.path('WS'),
    env: bench.environment,
    stdio: ['ignore', 'pipe', 'inherit'],
  });
}

/** The document that a server tells with --json once it listens. Throws where the server ends before. */
export function documentOf<T>(child: ChildProcess): Promise<T> {
  return new Promise((resolve, reject) => {
    let told = '';
    child.stdout!.on('data', (piece) => {
      told += piece;
      try {
        resolve(JSON.parse(told));
      } catch {
        // Not whole yet.
      }
    });
    child.on('exit', (status) => reject(new Error(`the server ended with ${status}\n${told}`)));
  });
}
