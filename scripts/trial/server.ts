import { join } from 'node:path';
import { type Desk, freePort, type Running } from './processes.ts';

/** Depot and intake in one process, on one port through all its lives. */
export class TrialServer {
  port = 0;
  restarts = 0;
  readonly #desk: Desk;
  #running: Running | undefined;

  constructor(desk: Desk) {
    this.#desk = desk;
  }

  /** `blocks`: how large a file may grow, in units of 512 bytes: the disk is full after that. */
  async start(blocks?: number): Promise<void> {
    if (this.port === 0) this.port = await freePort();
    const log = join(this.#desk.folder, `server-${this.restarts}.log`);
    const words = ['depot', 'serve', 'depot', '--fleet', '--port', String(this.port)];
    this.#running = this.#desk.start(log, words, blocks);
    await this.#running.says(/is served at/);
    this.restarts += 1;
  }

  async end(signal: 'SIGTERM' | 'SIGKILL'): Promise<void> {
    await this.#running?.end(signal);
  }

  /** That it ended though nobody ended it, in words. */
  get endedAlone(): string[] {
    return this.#running?.isRunning ? [] : [`the server ended by itself: ${this.#running?.said.slice(-500)}`];
  }

  /** What it counted, once it ended by SIGTERM. */
  get counted(): string {
    return /reports: (.*)/.exec(this.#running?.said ?? '')?.[1] ?? '';
  }
}
