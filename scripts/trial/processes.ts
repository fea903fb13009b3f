import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { closeSync, openSync, readFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { resolve } from 'node:path';

/** The built command. */
const COMMAND = resolve('dist/fieldseal.js');
const MOST_TOLD = 64 << 20;

/** A folder that the command is run in, as its user would run it. */
export class Desk {
  readonly folder: string;
  readonly environment: NodeJS.ProcessEnv;

  constructor(folder: string) {
    this.folder = folder;
    this.environment = {
      PATH: process.env.PATH,
      HOME: folder,
      FIELDSEAL_PASSPHRASE: 'vents open at dawn',
    };
  }

  /** Runs it to its end; gives its document. Throws with what it said unless it ends with status 0. */
  // biome-ignore lint/suspicious/noExplicitAny: documents of many shapes, read field by field
  json(...words: string[]): any {
    const told = execFileSync(process.execPath, [COMMAND, ...words, '--json'], {
      cwd: this.folder,
      env: this.environment,
      encoding: 'utf8',
      stdio: ['ignore', 'pipe', 'pipe'],
      maxBuffer: MOST_TOLD,
    });
    return JSON.parse(told);
  }

  /** Starts it; what it says goes into `log`. `blocks`: how large a file may grow for it, in units of 512 bytes. */
  start(log: string, words: readonly string[], blocks?: number): Running {
    const all = [process.execPath, COMMAND, ...words];
    const [command, ...args] =
      blocks === undefined ? all : ['sh', '-c', `ulimit -f ${blocks}; exec "$@"`, 'sh', ...all];
    return new Running(command!, args, { cwd: this.folder, env: this.environment, log });
  }
}

/** A process that goes on running. */
export class Running {
  readonly #child: ChildProcess;
  readonly #log: string;
  /** Settles when it has ended. */
  readonly over: Promise<void>;

  constructor(
    command: string,
    args: readonly string[],
    options: { cwd: string; env: NodeJS.ProcessEnv; log: string },
  ) {
    const { cwd, env, log } = options;
    const file = openSync(log, 'w');
    this.#log = log;
    this.#child = spawn(command, args, { cwd, env, stdio: ['ignore', file, file] });
    closeSync(file);
    this.over = new Promise((done) => this.#child.once('exit', () => done()));
  }

  /** What it said so far. */
  get said(): string {
    return readFileSync(this.#log, 'utf8');
  }

  get isRunning(): boolean {
    return this.#child.exitCode === null && this.#child.signalCode === null;
  }

  /** Waits until it said something that matches. */
  async says(what: RegExp): Promise<RegExpExecArray> {
    for (;;) {
      const found = what.exec(this.said);
      if (found) return found;
      if (!this.isRunning) throw new Error(`ended before it said ${what}: ${this.said}`);
      await new Promise((done) => setTimeout(done, 50));
    }
  }

  async end(signal: 'SIGTERM' | 'SIGKILL'): Promise<void> {
    if (this.isRunning) this.#child.kill(signal);
    await this.over;
  }
}

export function freePort(): Promise<number> {
  return new Promise((done) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const { port } = server.address() as { port: number };
      server.close(() => done(port));
    });
  });
}
